"""Each fault does what it says, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from server.testday.values import Signal
from tests.simulator import faults
from tests.simulator.day import HostileDay, draw_day
from tests.simulator.scenario import FAULTS, Scenario

SEED = 5


def day(*names: str, seed: int = SEED, **changes: object) -> HostileDay:
    scenario = Scenario(pairs=2, passes_per_run=1, dampers=True, faults=names, **changes)  # type: ignore[arg-type]
    return draw_day(seed, scenario)


@pytest.fixture(scope="module")
def healthy() -> HostileDay:
    return day()


def differences(ill: HostileDay, well: HostileDay) -> list[dict[str, np.ndarray]]:
    """Channel → ill less well, for those that differ, run by run."""
    found = []
    for a, b in zip(ill.day.runs, well.day.runs, strict=True):
        here, there = a.recordings[0].signals, b.recordings[0].signals
        assert set(here) == set(there)
        pairs = {role: here[role].values - there[role].values for role in here}
        found.append({role: off for role, off in pairs.items() if np.any(off != 0.0)})
    return found


def test_a_dead_damper_stays_where_it_was(healthy: HostileDay) -> None:
    hows = set()
    for seed in range(5, 11):
        ill = day("dead damper", seed=seed)
        role, how = ill.truth["faults"]["dead damper"].split(", ")
        hows.add(how)
        values = [run.recordings[0].signals[role].values for run in ill.day.runs]
        assert all(np.std(v) < 7e-4 for v in values)
        assert how == "noise" or all(np.ptp(v) == 0.0 for v in values)
        other = "damper_fl" if role != "damper_fl" else "damper_rr"
        assert np.ptp(ill.day.runs[0].recordings[0].signals[other].values) > 2e-3
    assert hows == {"stuck", "noise"}
    ill = day("dead damper")
    assert all(set(d) == {ill.truth["faults"]["dead damper"].split(",")[0]} or "noise" in
               ill.truth["faults"]["dead damper"] for d in differences(ill, healthy))  # fmt: skip


def test_a_swapped_pair_is_the_other_side_of_one_axle(healthy: HostileDay) -> None:
    ill = day("swapped pair")
    axle = "f" if "front" in ill.truth["faults"]["swapped pair"] else "r"
    for a, b in zip(ill.day.runs, healthy.day.runs, strict=True):
        here, there = a.recordings[0].signals, b.recordings[0].signals
        np.testing.assert_array_equal(here[f"damper_{axle}l"].values, there[f"damper_{axle}r"].values)
        np.testing.assert_array_equal(here[f"damper_{axle}r"].values, there[f"damper_{axle}l"].values)
        assert here[f"damper_{axle}l"].name == f"damper_{axle}l"


def test_a_zero_drifts_by_half_a_millimetre_over_each_run(healthy: HostileDay) -> None:
    counts = set()
    for seed in range(SEED, SEED + 8):
        ill, well = day("zero drift", seed=seed), healthy if seed == SEED else day(seed=seed)
        roles = set(ill.truth["faults"]["zero drift"].split(", "))
        counts.add(len(roles))
        for off in differences(ill, well):
            assert set(off) == roles
            for moved in off.values():
                assert abs(moved[0]) < 1e-12
                assert abs(moved[-1]) == pytest.approx(5e-4)
                assert np.ptp(np.diff(moved)) < 1e-9
    assert counts >= {1, 2}


def test_volts_are_thousandths_of_a_voltage_within_its_range(healthy: HostileDay) -> None:
    ill = day("volts")
    role = ill.truth["faults"]["volts"]
    for a, b in zip(ill.day.runs, healthy.day.runs, strict=True):
        volts = 1e3 * a.recordings[0].signals[role].values
        true = b.recordings[0].signals[role].values
        assert volts.min() >= 0.0
        assert volts.max() <= 5.0
        assert np.polyfit(true, volts, 1)[0] == pytest.approx(5.0 / 0.075, rel=1e-6)
    assert all(set(off) == {role} for off in differences(ill, healthy))


def test_an_inverted_ratio_is_in_the_file_alone(healthy: HostileDay) -> None:
    ill = day("ratio inverted")
    assert differences(ill, healthy) == [{}] * len(healthy.day.runs)
    for wrong, right in ((ill.day.car.front, healthy.day.car.front), (ill.day.car.rear, healthy.day.car.rear)):
        assert wrong.motion_ratio is not None
        assert right.motion_ratio is not None
        assert wrong.motion_ratio.value * right.motion_ratio.value == pytest.approx(1.0)


def test_friction_is_twenty_newtons_a_corner() -> None:
    assert day("friction").truth["friction"] == [40.0, 40.0]
    assert day().truth["friction"] != [40.0, 40.0]


def test_offsets_move_every_zero_and_nothing_else(healthy: HostileDay) -> None:
    ill = day("offsets")
    first, *others = differences(ill, healthy)
    assert len(first) == 6
    assert max(abs(off.mean()) for off in first.values()) > 0.01
    for off in others:
        for role, moved in off.items():
            np.testing.assert_allclose(moved, first[role][0], atol=1e-12)


def test_a_slipped_sensor_jumps_once_between_two_runs(healthy: HostileDay) -> None:
    ill = day("slipped sensor")
    role, run = ill.truth["faults"]["slipped sensor"].split(" from run ")
    at = int(run.split(" ")[0])
    assert at >= 2
    for number, off in enumerate(differences(ill, healthy), start=1):
        if number < at:
            assert off == {}
        else:
            assert set(off) == {role}
            np.testing.assert_allclose(off[role], 2e-3, atol=1e-12)


@pytest.mark.parametrize("name", [f for f in FAULTS if f in ("zero drift", "slipped sensor", "offsets")])
def test_push_rods_and_heights_can_be_at_fault_too(name: str) -> None:
    told = {day(name, load_sources=(s,)).truth["faults"][name] for s in ("ride height", "push rod")}
    assert told == {"every load sensor"} or any("ride_height" in t for t in told)


def test_faults_leave_what_they_are_given_alone() -> None:
    given = {role: Signal(np.arange(3.0), np.arange(3.0)) for role in ("damper_fl", "damper_fr")}
    faults.swapped(given, "f")
    faults.drifting(given, ["damper_fl"], 1.0)
    faults.dead(given, "damper_fr", np.random.default_rng(0))
    faults.in_volts(given, "damper_fl")
    for signal in given.values():
        np.testing.assert_array_equal(signal.values, np.arange(3.0))
