"""A known mass on an axle: the wheel rate comes back from dampers or ride heights, with u that holds."""

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.axle_loading import axle_rate
from server.analysis.axle_spring import axle_spring
from server.testday.values import Axle, Calibration, Car, Quantity
from tests.analysis.stand_days import AXLE, CAR, loaded, loading, standing
from tests.published import table

G = 9.80665
LOAD = 40.0 * G
RATE = 2.0 * 40_000.0 * 0.9**2
FREE = replace(AXLE, joint_friction_n=Quantity(0.0, 0.0))
SLACK = replace(CAR, front=FREE, rear=FREE)


def dampers(left_m: float, right_m: float, noise: float = 0.0, drawn: int = 0):
    return {
        f"damper_f{side}": standing(0.01, 0.01 + travel, noise, 2 * drawn + k)
        for k, (side, travel) in enumerate(zip("lr", (left_m, right_m), strict=True))
    }


def rate_of(*tests, car: Car = SLACK, end: str = "front"):
    axle: Axle = getattr(car, end)
    found, findings = axle_rate(tests, car, end, axle_spring(axle, 1200.0))
    assert found is not None, findings
    return found


def test_dampers_give_the_wheel_rate() -> None:
    """K = F/z with z = damper travel / MR, and K = 2 k MR² of the springs (Milliken, ch. 16, from memory)."""
    travel = LOAD / RATE * 0.9
    found = rate_of(loaded(dampers(1.3 * travel, 0.7 * travel)))  # roll cancels in the mean
    assert found.rate_n_per_m == pytest.approx(RATE, rel=5e-4)
    assert found.scale == pytest.approx(1.0, rel=5e-4)
    assert (found.travel_from, found.load_n, found.used) == ("damper", pytest.approx(LOAD), 1)
    assert found.ride_rate_n_per_m is None
    # mass 0.25 %, two gains of 0.5 %, and a rest of 0.02 mm in 5.4 mm of damper travel
    assert found.u / RATE == pytest.approx(np.sqrt(0.0025**2 + 0.005**2 / 2 + (2e-5 / travel) ** 2), rel=0.02)


def test_a_motion_ratio_table_is_followed() -> None:
    """With MR(z) = 0.9 + 4 z and no load on the spring at rest: F = 2 k d MR, d = 0.9 z + 2 z²."""
    axle = replace(FREE, motion_ratio=None, motion_ratio_table=((-0.02, 0.82), (0.02, 0.98)))
    z = 0.006
    force = 2.0 * 40_000.0 * (0.9 * z + 2.0 * z**2) * (0.9 + 4.0 * z)
    mass = Quantity(force / G, 0.01)
    found, _ = axle_rate(
        [loaded(dampers(*[0.9 * z + 2.0 * z**2] * 2), mass_kg=mass)],
        replace(CAR, front=axle),
        "front",
        axle_spring(axle, 0.0),
    )
    assert found is not None
    assert found.scale == pytest.approx(1.0, abs=1e-3)
    assert found.rate_n_per_m == pytest.approx(force / z, rel=1e-3)


def test_ride_heights_give_the_ride_rate_and_by_the_tyres_the_wheel_rate() -> None:
    """Gillespie's ride rates (tests/published/textbooks/CITATION): wheel and tyre rate in series."""
    to_si = 4.4482216152605 / 0.0254
    for row in table("textbooks", "ride_rates"):
        tyre = Quantity(row["tyre_lb_per_in"] * to_si, 1.0)
        axle = replace(FREE, motion_ratio=Quantity(1.0, 0.0), tyre_rate_n_per_m=tyre)
        axle = replace(axle, spring_rate_n_per_m=Quantity(row["suspension_lb_per_in"] * to_si, 10.0))
        end = str(row["axle"])
        sink = LOAD / (2.0 * row["ride_lb_per_in"] * to_si)
        heights = {f"ride_height_{end}": standing(0.15, 0.15 - sink)}
        other = "rear" if end == "front" else "front"
        heights[f"ride_height_{other}"] = standing(0.15, 0.15)
        car = replace(CAR, front=axle, rear=axle)
        found = rate_of(loaded(heights, end), car=car, end=end)
        assert found.travel_from == "ride height"
        assert found.ride_rate_n_per_m is not None
        assert found.ride_rate_n_per_m / (2.0 * to_si) == pytest.approx(row["ride_lb_per_in"], abs=0.05)
        half_a_digit = 0.05 / row["ride_lb_per_in"] * 1.2
        assert found.scale == pytest.approx(1.0, abs=half_a_digit)


def test_a_wide_tyre_rate_reaches_the_wheel_rate() -> None:
    tyre = Quantity(90_000.0, 20_000.0, "default")
    axle = replace(FREE, tyre_rate_n_per_m=tyre, ride_height_sensor_x_m=Quantity(0.0, 0.0))
    sink = LOAD / RATE + LOAD / 180_000.0
    found = rate_of(loaded({"ride_height_front": standing(0.04, 0.04 - sink)}), car=replace(CAR, front=axle))
    assert found.rate_n_per_m == pytest.approx(RATE, rel=5e-4)
    assert found.u / RATE == pytest.approx(RATE / 180_000.0 * 20 / 90, rel=0.15)
    assert found.ride_u is not None
    assert found.ride_u < 0.2 * found.u


@pytest.mark.parametrize("both", [True, False])
@pytest.mark.parametrize("end", ["front", "rear"])
def test_a_sensor_away_from_the_axle_is_carried_there(both: bool, end: str) -> None:
    """The body turns about the other axle: 0.31 m beyond the axle on a wheelbase of 1.55 m it sinks 20 % more."""
    ahead = 0.31 if end == "front" else -0.31
    axle = replace(FREE, ride_height_sensor_x_m=Quantity(ahead, 0.01), tyre_rate_n_per_m=Quantity(90_000.0, 10.0))
    other = replace(FREE, ride_height_sensor_x_m=Quantity(0.0, 0.01))
    car = replace(CAR, **{end: axle, ("rear" if end == "front" else "front"): other})
    sink = LOAD / RATE + LOAD / 180_000.0
    heights = {f"ride_height_{end}": standing(0.05, 0.05 - 1.2 * sink)}
    if both:
        heights[f"ride_height_{'rear' if end == 'front' else 'front'}"] = standing(0.05, 0.05)
    found = rate_of(loaded(heights, end), car=car, end=end)
    assert found.ride_rate_n_per_m == pytest.approx(LOAD / sink, rel=1e-6)
    assert found.ride_u is not None
    place_u = 0.01 / 1.55 / (1.0 if both else 1.2)
    assert found.ride_u / (LOAD / sink) == pytest.approx(np.hypot(0.0055, place_u), rel=0.1)


def test_a_mass_that_two_axles_share() -> None:
    """A share of 0.8 leaves 0.2 to the other axle, which sinks a quarter as much: half-way it is 0.625."""
    axle = replace(FREE, ride_height_sensor_x_m=Quantity(-0.775, 0.0), tyre_rate_n_per_m=Quantity(90_000.0, 10.0))
    sink = 0.8 * LOAD * (1.0 / RATE + 1.0 / 180_000.0)
    test = loaded({"ride_height_front": standing(0.05, 0.05 - 0.625 * sink)}, share=Quantity(0.8, 0.0))
    found = rate_of(test, car=replace(CAR, front=axle))
    assert found.ride_rate_n_per_m == pytest.approx(0.8 * LOAD / sink, rel=1e-6)
    by_dampers = rate_of(loaded(dampers(*[0.8 * LOAD / RATE * 0.9] * 2), share=Quantity(0.8, 0.01)))
    assert by_dampers.scale == pytest.approx(1.0, rel=5e-4)
    assert by_dampers.u / RATE > 0.0125


def test_joint_friction_is_the_width() -> None:
    """2 f on the axle: δ = f, a standard deviation of √3 f, and f's own u alike in all loadings."""
    stiff = replace(FREE, joint_friction_n=Quantity(20.0, 15.0))
    tests = [loaded(dampers(*[(LOAD - 20.0) / RATE * 0.9] * 2, drawn=k)) for k in range(16)]
    one = rate_of(tests[0], car=replace(CAR, front=stiff))
    many = rate_of(*tests, car=replace(CAR, front=stiff))
    assert one.scale == pytest.approx(1.0, abs=5e-4)
    assert one.u / RATE == pytest.approx(np.sqrt(3 * (20**2 + 15**2) + 15**2) / (LOAD - 20.0), rel=0.02)
    assert 15.0 / (LOAD - 20.0) < many.u / RATE < 0.42 * one.u / RATE


def test_one_damper_alone_is_known_less_well() -> None:
    travel = LOAD / RATE * 0.9
    one = dampers(travel, travel)
    del one["damper_fr"]
    found = rate_of(loaded(one))
    assert found.scale == pytest.approx(1.0, rel=5e-4)
    assert found.u / RATE > 0.05


def test_a_calibrations_u_is_the_slopes() -> None:
    travel = LOAD / RATE * 0.9
    car = replace(SLACK, calibration={"damper_fl": Calibration(gain_rel_u=0.03)})
    assert rate_of(loaded(dampers(travel, travel)), car=car).u / RATE == pytest.approx(0.03 / np.sqrt(2), rel=0.05)


def test_noise_and_a_rocking_car_widen() -> None:
    travel = LOAD / RATE * 0.9
    still = rate_of(loaded(dampers(travel, travel)))
    noisy = rate_of(loaded(dampers(travel, travel, noise=0.004)))
    assert noisy.scale == pytest.approx(1.0, abs=4 * noisy.u / RATE)
    assert noisy.u > 2.0 * still.u


def test_without_springs_entered_the_rate_stands_alone() -> None:
    bare = replace(FREE, spring_rate_n_per_m=None)
    found, _ = axle_rate([loaded(dampers(*[LOAD / RATE * 0.9] * 2))], replace(CAR, front=bare), "front", None)
    assert found is not None
    assert (found.scale, found.scale_u) == (None, None)
    assert found.rate_n_per_m == pytest.approx(RATE, rel=5e-4)


@pytest.mark.parametrize(
    ("signals", "said"),
    [
        ({}, "has no damper or ride height of this axle with enough samples in both windows"),
        ({"damper_rl": standing(0.01, 0.02)}, "has no damper or ride height of this axle"),
        ({"ride_height_rear": standing(0.05, 0.04)}, "has no damper or ride height of this axle"),
        (dampers(0.0, 0.0), "the wheels travel 0.00 mm under 392 N, too little or the wrong way"),
        (dampers(-0.005, -0.005), "the wheels travel -5.56 mm under 392 N, too little or the wrong way"),
    ],
)
def test_a_loading_that_tells_nothing_is_said(signals, said: str) -> None:
    found, findings = axle_rate([loaded(signals)], SLACK, "front", axle_spring(FREE, 1200.0))
    assert found is None
    assert [(f.code, f.grade) for f in findings] == [("stand-test-unused", "check")]
    assert findings[0].text.startswith("Axle loading 1 (stand.csv, front axle) is not used: ")
    assert said in findings[0].text


def test_windows_outside_the_log_and_other_axles() -> None:
    late = loaded(dampers(0.005, 0.005), loaded_s=(90.0, 95.0))
    found, findings = axle_rate([late], SLACK, "front", axle_spring(FREE, 1200.0))
    assert found is None
    assert "enough samples in both windows" in findings[0].text
    assert axle_rate([loading("front"), loaded(dampers(0.005, 0.005))], SLACK, "rear", None) == (None, [])


def test_intervals_hold_whether_the_car_is_shaken_or_left() -> None:
    """600 loadings with friction drawn from what is stated, half of them shaken after the mass was put on."""
    rng = np.random.default_rng(11)
    held, errors = [], []
    for number in range(600):
        f = max(12.0 + 4.0 * rng.standard_normal(), 0.0)
        mass, share = 40.0 + 0.2 * rng.standard_normal(), 1.0 + 0.01 * rng.standard_normal()
        after = 2.0 * f if number % 2 else rng.uniform(-2.0 * f, 2.0 * f)
        force = mass * G * share - (after - rng.uniform(-2.0 * f, 2.0 * f))
        gains = 1.0 + 0.005 * rng.standard_normal(2)
        signals = dampers(*(force / RATE * 0.9 * gains), noise=2e-4, drawn=number)
        axle = replace(FREE, joint_friction_n=Quantity(12.0, 4.0))
        test = loaded(signals, mass_kg=Quantity(40.0, 0.2), share=Quantity(1.0, 0.01))
        found = rate_of(test, car=replace(CAR, front=axle))
        errors.append((found.rate_n_per_m - RATE) / found.u)
        held.append(abs(errors[-1]) < 1.96)
    assert 0.92 <= np.mean(held) <= 0.98, np.mean(held)
    assert abs(np.mean(errors)) < 0.15
    assert 0.85 < np.std(errors) < 1.15
