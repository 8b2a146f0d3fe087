"""Which speed leads, and what happens when one wheel is lost or a source is too slow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.speed_pick import pick_speed
from server.testday.values import Recording, Signal
from tests.analysis.driven_runs import (
    draw_body,
    draw_script,
    drive,
    made_car,
    made_run,
    satellite_speed,
    wheel_speed,
)

RNG = np.random.default_rng(21)
TRUTH = drive(draw_script(RNG, 3), draw_body(RNG), RNG)
CAR = made_car()


def wheel(seed: int, rate: float = 50.0) -> Signal:
    return wheel_speed(TRUTH, np.random.default_rng(seed), rate, 0.05)


def satellite(rate: float = 10.0) -> Signal:
    return satellite_speed(TRUTH, np.random.default_rng(9), rate, 0.1)


ALL = {f"wheel_speed_{w}": wheel(i) for i, w in enumerate(("fl", "fr", "rl", "rr"))}
ALL |= {"gps_speed": satellite(), "vehicle_speed": wheel(7)}


@pytest.mark.parametrize(
    ("driven", "missing", "kind", "roles"),
    [
        ("rear", (), "undriven wheels", ("wheel_speed_fl", "wheel_speed_fr")),
        ("front", (), "undriven wheels", ("wheel_speed_rl", "wheel_speed_rr")),
        ("all", (), "satellite", ("gps_speed",)),
        ("rear", ("wheel_speed_fl", "wheel_speed_fr"), "satellite", ("gps_speed",)),
        ("rear", ("wheel_speed_fl", "wheel_speed_fr", "gps_speed"), "vehicle", ("vehicle_speed",)),
        ("rear", ("wheel_speed_fr",), "undriven wheels", ("wheel_speed_fl",)),
    ],
)
def test_the_order_of_trust(driven: str, missing: tuple[str, ...], kind: str, roles: tuple[str, ...]) -> None:
    run = made_run({role: signal for role, signal in ALL.items() if role not in missing})
    source = pick_speed(run, replace(CAR, driven=driven))  # type: ignore[arg-type]
    assert source is not None
    assert source.kind == kind
    assert source.roles == roles
    assert "driven-wheel-speed" not in [f.code for f in source.findings]


def test_driven_wheels_come_last_with_a_warning() -> None:
    run = made_run({role: ALL[role] for role in ("wheel_speed_rl", "wheel_speed_rr")})
    source = pick_speed(run, CAR)
    assert source is not None
    assert source.kind == "driven wheels"
    assert [f.code for f in source.findings] == ["driven-wheel-speed"]


def test_the_mean_of_two_wheels_is_nearer_the_truth_than_either() -> None:
    run = made_run({role: ALL[role] for role in ("wheel_speed_fl", "wheel_speed_fr")})
    source = pick_speed(run, CAR)
    assert source is not None
    truth = np.interp(source.signal.time_s, TRUTH.time_s, TRUTH.speed)
    fast = truth > 5.0
    errors = [np.std((s.values - truth)[fast]) for s in (ALL["wheel_speed_fl"], ALL["wheel_speed_fr"])]
    # tooth steps average out, the once-per-turn error, in step on both wheels here, does not
    assert np.std((source.signal.values - truth)[fast]) < 0.96 * min(errors)


def test_a_lost_wheel_leaves_no_step_behind() -> None:
    left, right = wheel(1), wheel(2)
    larger = 1.03 * right.values
    lost = (right.time_s > 30.0) & (right.time_s < 60.0)
    run = made_run({"wheel_speed_fl": left, "wheel_speed_fr": Signal(right.time_s, np.where(lost, 0.0, larger), "r")})
    source = pick_speed(run, CAR)
    assert source is not None
    truth = np.interp(source.signal.time_s, TRUTH.time_s, TRUTH.speed)
    inside = (source.signal.time_s > 32.0) & (source.signal.time_s < 58.0) & (truth > 6.0)
    outside = (source.signal.time_s > 65.0) & (truth > 6.0)
    ratios = [float(np.median(source.signal.values[m] / truth[m])) for m in (inside, outside)]
    assert ratios[0] == pytest.approx(ratios[1], abs=0.003)


def test_a_source_that_renews_too_seldom_does_not_lead() -> None:
    slow = satellite(0.1)
    run = made_run({"gps_speed": slow, "vehicle_speed": wheel(3)})
    source = pick_speed(run, CAR)
    assert source is not None
    assert source.kind == "vehicle"
    alone = pick_speed(made_run({"gps_speed": slow}), CAR)
    assert alone is not None
    assert [f.code for f in alone.findings] == ["slow-speed"]


def test_a_source_that_covers_little_of_the_run_does_not_lead() -> None:
    short = Signal(wheel(4).time_s[:800], wheel(4).values[:800], "v")
    source = pick_speed(made_run({"wheel_speed_fl": short, "gps_speed": satellite()}), CAR)
    assert source is not None
    assert source.kind == "satellite"


def test_the_denser_of_two_recordings_leads() -> None:
    coarse, dense = satellite(1.0), satellite(20.0)
    run = made_run({"gps_speed": coarse})
    run = replace(run, recordings=(*run.recordings, Recording("box.csv", {"gps_speed": dense})))
    source = pick_speed(run, CAR)
    assert source is not None
    assert source.period_s == pytest.approx(0.05)


def test_no_speed_or_one_that_never_moves_is_none() -> None:
    time = np.arange(0.0, 20.0, 0.1)
    assert pick_speed(made_run({}), CAR) is None
    assert pick_speed(made_run({"gps_speed": Signal(time, np.zeros(len(time)), "v")}), CAR) is None
