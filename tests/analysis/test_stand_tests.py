"""Stand tests brought into a day: what is replaced, combined, refused, and how sure the car then is."""

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.axle_spring import axle_spring, wheel_rate_rel_u
from server.analysis.spin_down import driveline_drag
from server.analysis.stand_tests import DRAG_SPEEDS_MPS, apply_stand_tests, combined_driveline
from server.readers.load_day import load_day
from server.testday.values import Finding, LogFile, Quantity, Recording, SpinDown
from tests.analysis.stand_days import AXLE, CAR, day, loaded, loading, run_down, spin_down, standing
from tests.testday.folders import MINIMAL, make

T0, T1 = 6.0, 0.35
G = 9.80665
LOAD = 80.0 * G
RATE = 2.0 * 40_000.0 * 0.9**2
SPINS = tuple(spin_down(*run_down(T0 * f, T1 * f), step_mps=0.02) for f in (0.97, 1.0, 1.03))
LINEAR = replace(AXLE, joint_friction_n=Quantity(2.0, 1.0))


def typed(t0: float, t0_u: float, t1: float, t1_u: float):
    return replace(CAR, driveline_drag_n=Quantity(t0, t0_u), driveline_drag_n_per_mps=Quantity(t1, t1_u))


def on_axle(scale: float = 1.0, **more):
    """80 kg on the front axle of a car whose springs are `scale` times those entered."""
    travel = (LOAD - 2.0) / (RATE * scale) * 0.9
    signals = {f"damper_f{side}": standing(0.01, 0.01 + travel) for side in "lr"}
    return loaded(signals, mass_kg=Quantity(80.0, 0.2), **more)


def test_a_day_without_stand_tests_comes_back_as_it_is() -> None:
    bare = day()
    assert apply_stand_tests(bare) == (bare, (), [])
    assert apply_stand_tests(bare)[0] is bare


def test_tests_whose_logs_could_not_be_read_change_nothing() -> None:
    bare = day(spin_downs=(SpinDown(LogFile("s.csv")),), loadings=(loading("front"),))
    assert apply_stand_tests(bare) == (bare, (), [])


def test_a_default_gives_way_to_spin_downs() -> None:
    found, tests, findings = apply_stand_tests(day(spin_downs=SPINS))
    car = found.car
    assert (car.driveline_drag_n.source, car.driveline_drag_n_per_mps.source) == ("measured", "measured")
    assert car.driveline_drag_n.value == pytest.approx(T0, rel=0.05)
    assert car.driveline_drag_n_per_mps.value == pytest.approx(T1, rel=0.05)
    assert 0.1 < car.driveline_drag_n.u / T0 < 0.2  # the inertia is known to 10 %
    assert [test.quantity for test in tests] == ["driveline drag T0", "driveline drag T1", "driveline drag at 13 m/s"]
    assert all(test.entered is None and test.z is None for test in tests)
    assert "nothing was entered" in tests[0].text
    assert "windage is in it" in tests[0].text
    assert findings == []
    assert found.runs == ()


def test_an_entered_value_is_combined_by_its_u() -> None:
    measured = apply_stand_tests(day(spin_downs=SPINS))[0].car
    found, tests, findings = apply_stand_tests(day(typed(6.5, 0.3, 0.36, 0.02), SPINS))
    assert findings == []
    assert found.car.driveline_drag_n.u < measured.driveline_drag_n.u
    assert T0 < found.car.driveline_drag_n.value < 6.6
    assert tests[0].entered is not None
    assert tests[0].entered.value == 6.5
    joint = np.hypot(tests[0].measured.u, 0.3)
    assert tests[0].z == pytest.approx((tests[0].measured.value - 6.5) / joint)
    assert "entered: " in tests[0].text


def test_a_typed_value_beside_a_default_counts_alone() -> None:
    car = replace(CAR, driveline_drag_n=Quantity(6.1, 0.05))
    found, tests, _ = apply_stand_tests(day(car, SPINS))
    assert found.car.driveline_drag_n.value == pytest.approx(6.1, abs=0.05)
    assert tests[1].entered is None
    assert tests[2].entered is None


@pytest.mark.parametrize("entered", [(15.0, 1.0, 0.35, 0.05), (6.0, 0.5, 0.9, 0.05), (10.0, 2.2, 0.65, 0.12)])
def test_an_entered_value_that_disagrees_gives_way_with_a_finding(entered) -> None:
    measured = apply_stand_tests(day(spin_downs=SPINS))[0].car
    found, _, findings = apply_stand_tests(day(typed(*entered), SPINS))
    assert [(f.code, f.grade) for f in findings] == [("driveline-drag-disagrees", "check")]
    assert findings[0].text.endswith("The measured one is used.")
    assert found.car.driveline_drag_n == measured.driveline_drag_n
    assert found.car.driveline_drag_n_per_mps == measured.driveline_drag_n_per_mps


def test_a_spin_down_that_tells_less_than_the_default_does_not_widen_it() -> None:
    noise = 6.0 * np.sin(np.arange(6000) / 40.0)
    short = spin_down(*run_down(T0, T1, start_mps=9.0, force_noise=noise), step_mps=0.3)
    found, tests, _ = apply_stand_tests(day(spin_downs=(short,)))
    assert tests
    assert found.car.driveline_drag_n_per_mps.u <= 0.2 * np.sqrt(2.0)


@pytest.mark.parametrize("inertia_rel_u", [0.001, 0.1, 0.3])
@pytest.mark.parametrize("entered", [CAR, typed(6.5, 0.3, 0.36, 0.02)])
def test_independent_u_cover_the_drag_at_every_speed(inertia_rel_u: float, entered) -> None:
    """u²(T0) + v² u²(T1) of the car against Var(T0 + T1 v) of the joint estimate."""
    axle = replace(AXLE, axle_inertia_kgm2=Quantity(0.42, 0.42 * inertia_rel_u))
    drag, _ = driveline_drag(SPINS, replace(CAR, rear=axle))
    assert drag is not None
    pair = (entered.driveline_drag_n, entered.driveline_drag_n_per_mps)
    mean, u = combined_driveline(drag, pair)
    known = [0.0 if q.source == "default" else 1.0 / q.u**2 for q in pair]
    joint = np.linalg.inv(np.linalg.inv(drag.covariance) + np.diag(known))
    v = DRAG_SPEEDS_MPS
    together = joint[0, 0] + 2.0 * v * joint[0, 1] + v**2 * joint[1, 1]
    apart = u[0] ** 2 + v**2 * u[1] ** 2
    assert np.all(apart >= together * (1.0 - 1e-12))
    assert np.all(u >= np.sqrt(np.diag(joint)) * (1.0 - 1e-12))
    if joint[0, 1] > 0.0:
        assert np.min(apart / together) == pytest.approx(1.0)  # and no wider than it must be
    expected = joint @ (np.linalg.inv(drag.covariance) @ drag.mean + np.array(known) * [q.value for q in pair])
    np.testing.assert_allclose(mean, expected)


def test_a_known_mass_and_the_entered_rate_are_combined() -> None:
    stated = replace(CAR, front=replace(LINEAR, wheel_rate_rel_u=0.02))
    found, tests, findings = apply_stand_tests(day(stated, loadings=(on_axle(1.02),)))
    front = found.car.front
    (test,) = tests
    assert findings == []
    assert test.quantity == "front axle rate at the wheels"
    assert test.measured.value == pytest.approx(1.02 * RATE, rel=1e-3)
    assert test.entered is not None
    assert test.entered.value == pytest.approx(RATE, rel=1e-3)
    assert test.entered.u == pytest.approx(0.02 * RATE, rel=1e-2)
    measured_u = test.measured.u / test.entered.value
    assert front.spring_rate_n_per_m is not None
    scale = front.spring_rate_n_per_m.value / 40_000.0
    weights = np.array([1 / 0.02**2, 1 / measured_u**2])
    assert scale == pytest.approx(weights @ [1.0, 1.02] / weights.sum(), rel=1e-3)
    assert front.wheel_rate_rel_u == pytest.approx(weights.sum() ** -0.5 / scale, rel=1e-2)
    assert front.spring_rate_n_per_m.source == "measured"
    assert found.car.rear == stated.rear
    spring = axle_spring(front, 1200.0)
    assert spring is not None
    assert spring.rate_n_per_m == pytest.approx(scale * RATE, rel=1e-3)


def test_a_motion_ratio_entered_upside_down_is_found_and_put_right() -> None:
    """Loads by dampers are 2 k MR per damper travel, so the measured scale mends them whatever is wrong."""
    wrong = replace(CAR, front=replace(LINEAR, motion_ratio=Quantity(1.0 / 0.9, 0.01)))
    found, tests, findings = apply_stand_tests(day(wrong, loadings=(on_axle(),)))
    assert [(f.code, f.grade) for f in findings] == [("wheel-rate-disagrees", "check")]
    assert "look at spring, motion ratio, calibration and sensor" in findings[0].text
    assert tests[0].z is not None
    assert tests[0].z < -2.5
    front = found.car.front
    assert front.spring_rate_n_per_m is not None
    per_travel = 2.0 * front.spring_rate_n_per_m.value / 0.9
    assert per_travel == pytest.approx(2.0 * 40_000.0 * 0.9, rel=2e-3)


def test_wide_joint_friction_hides_what_it_must() -> None:
    stuck = replace(CAR, front=replace(AXLE, joint_friction_n=Quantity(60.0, 40.0)))
    _, tests, findings = apply_stand_tests(day(stuck, loadings=(on_axle(1.1),)))
    assert findings == []
    assert tests[0].z is not None
    assert abs(tests[0].z) < 1.5


def test_a_rate_where_none_was_entered() -> None:
    bare = replace(CAR, front=replace(LINEAR, spring_rate_n_per_m=None))
    found, tests, findings = apply_stand_tests(day(bare, loadings=(on_axle(),)))
    assert findings == []
    assert tests[0].entered is None
    front = found.car.front
    assert front.spring_rate_n_per_m is not None
    assert front.spring_rate_n_per_m.value == pytest.approx(40_000.0, rel=1e-3)
    assert wheel_rate_rel_u(front) == pytest.approx(tests[0].measured.u / tests[0].measured.value)


def test_heave_springs_are_scaled_with_the_rest() -> None:
    """A heave spring of 20 N/mm on the axle beside corner springs of 64.8 N/mm at the wheel."""
    heave = ((-0.05, -1000.0), (0.05, 1000.0))
    both = replace(CAR, front=replace(LINEAR, heave_table=heave, wheel_rate_rel_u=0.5))
    travel = (LOAD - 2.0) / (1.1 * (RATE + 20_000.0)) * 0.9
    signals = {f"damper_f{side}": standing(0.0, travel) for side in "lr"}
    found, tests, _ = apply_stand_tests(day(both, loadings=(loaded(signals, mass_kg=Quantity(80.0, 0.1)),)))
    front = found.car.front
    assert tests[0].measured.value == pytest.approx(1.1 * (RATE + 20_000.0), rel=1e-3)
    assert front.spring_rate_n_per_m is not None
    assert front.spring_rate_n_per_m.value == pytest.approx(44_000.0, rel=2e-3)
    assert front.heave_table[1][1] == pytest.approx(1100.0, rel=2e-3)
    alone = replace(both, front=replace(both.front, spring_rate_n_per_m=None))
    travel = (LOAD - 2.0) / 18_000.0 * 0.9
    signals = {f"damper_f{side}": standing(0.0, travel) for side in "lr"}
    found, _, _ = apply_stand_tests(day(alone, loadings=(loaded(signals, mass_kg=Quantity(80.0, 0.1)),)))
    assert found.car.front.spring_rate_n_per_m is None
    assert found.car.front.heave_table[1][1] == pytest.approx(900.0, rel=5e-3)


def test_ride_heights_add_a_ride_rate() -> None:
    sink = (LOAD - 2.0) / RATE + LOAD / 180_000.0
    signals = dict(on_axle().recording.signals)  # type: ignore[union-attr]
    signals["ride_height_front"] = standing(0.05, 0.05 - sink)
    car = replace(CAR, front=LINEAR)
    _, tests, findings = apply_stand_tests(day(car, loadings=(loaded(signals, mass_kg=Quantity(80.0, 0.2)),)))
    assert findings == []
    assert [test.quantity for test in tests] == ["front axle rate at the wheels", "front ride rate"]
    ride = tests[1]
    assert ride.entered is not None
    assert ride.measured.value == pytest.approx(1.0 / (1.0 / RATE + 1.0 / 180_000.0), rel=1e-3)
    assert ride.entered.value == pytest.approx(ride.measured.value, rel=1e-3)
    assert ride.entered.u / ride.entered.value == pytest.approx(
        np.hypot(ride.measured.value / RATE * np.hypot(0.01, 0.02), ride.measured.value / 180_000.0 * 20 / 90), rel=1e-3
    )


def test_what_the_logs_said_is_said_once() -> None:
    said = Finding("time-gap", "check", "s.csv: a gap.")
    note = Finding("time-unit-inferred", "note", "s.csv: seconds.")
    tests = tuple(
        replace(t, recording=Recording("s.csv", t.recording.signals, findings=(said, note)))  # type: ignore[union-attr]
        for t in SPINS
    )
    assert apply_stand_tests(day(spin_downs=tests))[2] == [said]


def test_a_folder_with_stand_tests_end_to_end(tmp_path) -> None:
    """Logs in revolutions per minute and volts, read, calibrated, fitted: made-up numbers come back."""
    time, speed = run_down(T0, T1, rate_hz=50.0, length_s=40.0)
    rpm = np.round(speed / 0.23 * 60.0 / (2.0 * np.pi), 1)
    spin = "time [s],Wheel Speed RL [rpm],Wheel Speed RR [rpm]\n" + "".join(
        f"{t:.2f},{n},{n}\n" for t, n in zip(time, rpm, strict=True)
    )
    travel_v = ((LOAD - 2.0) / RATE * 0.9) / 0.025
    pots = "time [s],Damper FL [V],Damper FR [V]\n" + "".join(
        f"{n / 50:.2f},{2.0 + (travel_v if n > 700 else 0):.4f},{2.5 + (travel_v if n > 700 else 0):.4f}\n"
        for n in range(1500)
    )
    toml = MINIMAL.replace("[car]", "[car]\nrear = { axle_inertia_kgm2 = 0.42, tyre_radius_m = 0.23 }") + """
[car.front]
spring_rate_n_per_mm = 40
motion_ratio = 0.9
joint_friction_n = 2
joint_friction_u_n = 1
[calibration.damper_fl]
gain = 25
unit = "mm/V"
[calibration.damper_fr]
gain = 25
unit = "mm/V"
[[spin_downs]]
log = "spin.csv"
[[axle_loadings]]
axle = "front"
mass_kg = 80
log = "pots.csv"
bare_from_s = 1
bare_to_s = 13
loaded_from_s = 15
loaded_to_s = 29
"""
    run = "time [s],gps_speed [m/s]\n" + "".join(f"{n / 10:.1f},{20 - n / 20:.2f}\n" for n in range(100))
    files = {"logs/run01.csv": run, "spin.csv": spin, "pots.csv": pots}
    found, tests, findings = apply_stand_tests(load_day(make(tmp_path / "day", toml, files)))
    assert findings == []
    assert [test.quantity for test in tests][::3] == ["driveline drag T0", "front axle rate at the wheels"]
    assert found.car.driveline_drag_n.value == pytest.approx(T0, rel=0.03)
    assert found.car.driveline_drag_n_per_mps.value == pytest.approx(T1, rel=0.03)
    assert tests[3].measured.value == pytest.approx(RATE, rel=3e-3)
