"""Faults of suspension sensors are named before the fit, each once for the day; a healthy day says nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from server.readers.load_day import load_day
from server.testday.findings import CODES
from server.testday.values import Day, Run
from tests.analysis.suspension_days import Signals, checked, codes, hostile, valued, with_signals
from tests.simulator import HostileDay, draw_day, draw_load_scenario

SAMPLES = sorted(p for p in (Path(__file__).parents[2] / "sample_data").iterdir() if p.is_dir())
DAMPERS = ("damper_fl", "damper_fr", "damper_rl", "damper_rr")
SEEDS = range(41, 47)


@pytest.fixture(scope="module")
def healthy() -> HostileDay:
    return hostile(41, pairs=2, wind="mixed")


@pytest.mark.parametrize("seed", range(8101, 8121))
def test_a_healthy_day_of_the_mixture_leaves_everything_in_use(seed: int) -> None:
    out, findings = checked(draw_day(seed, draw_load_scenario(seed)).day)
    assert out == {}
    assert set(codes(findings)) <= {"zero-drift"}, [f.text for f in findings]


def test_zeros_of_healthy_days_hardly_ever_drift() -> None:
    said = [checked(hostile(seed, pairs=2 + seed % 3, wind="mixed").day)[1] for seed in range(8201, 8221)]
    assert sum(bool(findings) for findings in said) <= 2


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda p: p.name)
def test_sample_days_are_clean(folder: Path) -> None:
    assert checked(load_day(folder)) == ({}, [])


@pytest.mark.parametrize("seed", SEEDS)
def test_a_dead_damper_is_left_out_all_day_and_said_once(seed: int) -> None:
    made = hostile(seed, pairs=2, faults=("dead damper",))
    role = made.truth["faults"]["dead damper"].split(",")[0]
    out, findings = checked(made.day)
    assert out == {run.number: frozenset({role}) for run in made.day.runs}
    assert codes(findings).count("damper-dead") == 1
    assert role in next(f.text for f in findings if f.code == "damper-dead")


@pytest.mark.parametrize("role", ["damper_fl", "damper_rr"])
@pytest.mark.parametrize("manner", ["holds its value", "stops logging"])
def test_a_damper_that_dies_within_a_run_is_left_out_of_that_run(healthy: HostileDay, role: str, manner: str) -> None:
    def dies(_: Run, signals: Signals) -> Signals:
        signal = signals[role]
        at = len(signal.time_s) // 2
        if manner == "stops logging":
            return {**signals, role: replace(signal, time_s=signal.time_s[:at], values=signal.values[:at])}
        values = signal.values.copy()
        values[at:] = values[at]
        return {**signals, role: valued(signal, values)}

    day = with_signals(healthy.day, dies, only=2)
    out, findings = checked(day)
    assert out == {2: frozenset({role})}
    assert codes(findings) == ["damper-dead"]
    found = findings[0]
    assert found.run == 2
    assert found.start_s is not None
    half = float(healthy.day.runs[1].recordings[0].signals[role].time_s[-1]) / 2.0
    assert half - 6.0 < found.start_s < half + 30.0


def test_both_dampers_of_an_axle_dead_are_told_by_what_must_move_them(healthy: HostileDay) -> None:
    def dead(run: Run, signals: Signals) -> Signals:
        rng = np.random.default_rng(run.number)
        noise = {r: valued(signals[r], 2e-4 * rng.standard_normal(len(signals[r].values))) for r in DAMPERS[:2]}
        return {**signals, **noise}

    out, findings = checked(with_signals(healthy.day, dead))
    assert set(out.values()) == {frozenset(DAMPERS[:2])}
    assert codes(findings) == ["damper-dead", "damper-dead"]


@pytest.mark.parametrize("seed", SEEDS)
def test_volts_taken_for_millimetres_are_named_and_left_out(seed: int) -> None:
    made = hostile(seed, pairs=2, faults=("volts",))
    role = made.truth["faults"]["volts"]
    out, findings = checked(made.day)
    assert set(out.values()) == {frozenset({role})}
    text = next(f.text for f in findings if f.code == "travel-implausible")
    assert role in text
    assert "volts" in text


@pytest.mark.parametrize("factor", [1000.0, 3.0, 0.3])
def test_all_dampers_off_scale_are_left_out(healthy: HostileDay, factor: float) -> None:
    def scaled(_: Run, signals: Signals) -> Signals:
        return {**signals, **{r: valued(signals[r], factor * signals[r].values) for r in DAMPERS}}

    out, findings = checked(with_signals(healthy.day, scaled))
    front = frozenset(DAMPERS[:2])
    assert all(front <= roles for roles in out.values())
    assert len(out) == len(healthy.day.runs)
    assert "travel-implausible" in codes(findings)


@pytest.mark.parametrize("role", ["damper_fl", "damper_rr", "ride_height_front"])
def test_a_reversed_sign_is_named_and_left_out(healthy: HostileDay, role: str) -> None:
    day = with_signals(healthy.day, lambda _, s: {**s, role: valued(s[role], 0.03 - s[role].values)})
    out, findings = checked(day)
    assert set(out.values()) == {frozenset({role})}
    assert codes(findings) == ["sign-reversed"]


def test_front_and_rear_exchanged_are_told_from_reversed_signs(healthy: HostileDay) -> None:
    swap = dict(zip(DAMPERS, ("damper_rl", "damper_rr", "damper_fl", "damper_fr"), strict=True))
    exchanged = with_signals(healthy.day, lambda _, s: {**s, **{new: s[old] for old, new in swap.items()}})
    out, findings = checked(exchanged)
    assert set(out.values()) == {frozenset(DAMPERS)}
    assert codes(findings) == ["ends-exchanged"]

    turned = with_signals(healthy.day, lambda _, s: {**s, **{r: valued(s[r], -s[r].values) for r in DAMPERS}})
    out, findings = checked(turned)
    assert set(out.values()) == {frozenset(DAMPERS)}
    assert set(codes(findings)) == {"sign-reversed"}


def rolling(made: HostileDay, swapped: str = "") -> Day:
    """The day with dampers that roll in the turns, 3 mm for 1 m/s², left and right exchanged at `swapped` ends."""
    motion = {true.plan.number: true for true in made.runs}

    def rolled(run: Run, signals: Signals) -> Signals:
        true = motion[run.number]
        rate = np.gradient(np.unwrap(true.heading_rad), true.time_s)  # clockwise: to the right
        changed = dict(signals)
        for end in "fr":
            left, right = (signals[f"damper_{end}{side}"] for side in "lr")
            pressed = 0.003 * np.interp(left.time_s, true.time_s, rate * true.speed)
            left, right = valued(left, left.values + pressed), valued(right, right.values - pressed)
            if end in swapped:
                left, right = right, left
            changed |= {f"damper_{end}l": left, f"damper_{end}r": right}
        return changed

    return with_signals(made.day, rolled)


@pytest.mark.parametrize("heading", [True, False], ids=["heading", "position"])
@pytest.mark.parametrize("swapped", ["", "f", "r", "fr"])
def test_a_swapped_pair_is_named_by_the_turns_and_stays_in_use(swapped: str, heading: bool) -> None:
    made = hostile(43, pairs=4, passes_per_run=4, heading_channel=heading)
    out, findings = checked(rolling(made, swapped))
    assert out == {}
    said = [f.text for f in findings if f.code == "pair-swapped"]
    assert len(said) == len(swapped)
    for end in swapped:
        assert any({"f": "front", "r": "rear"}[end] in text for text in said)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_swapped_pair_that_nothing_shows_is_survived(seed: int) -> None:
    assert checked(hostile(seed, pairs=2, faults=("swapped pair",)).day)[0] == {}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_slipped_sensor_is_named_with_its_step(seed: int) -> None:
    made = hostile(seed, pairs=4, faults=("slipped sensor",))
    role, _, after = made.truth["faults"]["slipped sensor"].partition(" from run ")
    out, findings = checked(made.day)
    assert out == {}
    moved = [f for f in findings if f.code == "zero-moved"]
    assert len(moved) == 1
    assert role in moved[0].text
    assert moved[0].run == int(after.split()[0])


def test_drifting_zeros_are_named_where_joints_do_not_explain_them() -> None:
    named = []
    for seed in SEEDS:
        made = hostile(seed, pairs=4, faults=("zero drift",))
        roles = made.truth["faults"]["zero drift"].split(", ")
        out, findings = checked(made.day)
        assert out == {}
        text = " ".join(f.text for f in findings if f.code == "zero-drift")
        named.append(any(role in text for role in roles))
    assert sum(named) >= len(named) - 1


def test_a_motion_ratio_upside_down_is_named_with_the_right_one() -> None:
    made = hostile(5, pairs=3, height_sensors=4)
    axle = made.day.car.front
    assert axle.motion_ratio is not None
    assert axle.motion_ratio.value < 0.85
    upside_down = replace(axle.motion_ratio, value=1.0 / axle.motion_ratio.value)
    car = replace(made.day.car, front=replace(axle, motion_ratio=upside_down))
    out, findings = checked(replace(made.day, car=car))
    assert out == {}
    said = [f.text for f in findings if f.code == "motion-ratio-doubtful"]
    assert any("upside" in text and f"{axle.motion_ratio.value:.3g}" in text for text in said)


def test_ratios_of_both_axles_upside_down_are_told_together() -> None:
    """Neither axle alone is off by enough; no healthy day of the same draw is doubted."""
    ill, healthy = (checked(hostile(2806001, pairs=2, faults=faults).day)[1] for faults in (("ratio inverted",), ()))
    said = [f.text for f in ill if f.code == "motion-ratio-doubtful"]
    assert [text.split()[1] for text in said] == ["front", "rear"]
    assert "motion-ratio-doubtful" not in codes(healthy)


@pytest.mark.parametrize("manner", ["short stroke", "short stroke of both"])
def test_a_damper_at_its_stop_in_passes_is_left_out(healthy: HostileDay, manner: str) -> None:
    roles = DAMPERS[:1] if manner == "short stroke" else DAMPERS[:2]

    def stopped(_: Run, signals: Signals) -> Signals:
        found = dict(signals)
        for role in roles:
            values = signals[role].values
            found[role] = valued(signals[role], np.minimum(values, np.percentile(values, 88.0)))
        return found

    out, findings = checked(with_signals(healthy.day, stopped))
    assert set(out.values()) == {frozenset(roles)}
    assert codes(findings) == ["travel-clipped"] * len(roles)


def test_what_is_missing_is_said(healthy: HostileDay) -> None:
    gone = ("damper_fr", "ride_height_rear")
    day = with_signals(healthy.day, lambda _, s: {r: v for r, v in s.items() if r not in gone})
    out, findings = checked(day)
    assert out == {}
    assert codes(findings) == ["ride-height-one-end", "side-missing"]

    bare = replace(healthy.day.car, front=replace(healthy.day.car.front, spring_rate_n_per_m=None))
    out, findings = checked(replace(healthy.day, car=bare))
    assert out == {}
    assert codes(findings) == ["no-spring-rate"]
    assert "spring_rate_n_per_mm" in findings[0].text


def test_every_code_is_listed(healthy: HostileDay) -> None:
    def broken(_: Run, signals: Signals) -> Signals:
        held = np.full(len(signals["damper_fl"].values), 0.01)
        return {**signals, "damper_fl": valued(signals["damper_fl"], held)}

    _, findings = checked(with_signals(healthy.day, broken))
    assert findings
    assert {f.code for f in findings} <= set(CODES)
    assert {f.grade for f in findings} <= {"note", "check", "stop"}


def test_a_day_without_suspension_sensors_says_nothing() -> None:
    day = draw_day(41, replace(draw_load_scenario(41), dampers=False, faults=())).day
    assert checked(day) == ({}, [])
