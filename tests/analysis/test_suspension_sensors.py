"""What a sensor should read of a load and of an acceleration, against the figures worked by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.analysis.suspension_sensors import car_loads, is_suspension, sensor_of
from server.analysis.suspension_words import called, runs_called, size
from server.testday.values import Axle, Car, Quantity

AXLE = Axle(
    Quantity(0.46, 0.0),
    Quantity(0.23, 0.0),
    spring_rate_n_per_m=Quantity(40e3, 400.0),
    motion_ratio=Quantity(0.8, 0.0),
    wheel_rate_rel_u=0.01,
    tyre_rate_n_per_m=Quantity(102.4e3, 0.0),
    ride_height_sensor_x_m=Quantity(0.0, 0.0),
    pushrod_ratio=Quantity(1.25, 0.0),
)
CAR = Car(
    "c",
    Quantity(230.0, 0.0),
    Quantity(1.6, 0.0),
    Quantity(0.5, 0.0),
    Quantity(0.3, 0.015),
    *(Quantity(0.0, 1.0),) * 4,
    front=AXLE,
    rear=AXLE,
)


def test_load_transfer_per_acceleration() -> None:
    # (300 kg · 0.3 m + 2 · 0.46/0.23 kg m) / 1.6 m
    loads = car_loads(CAR, 70.0)
    assert loads.transfer_kg.value == pytest.approx((90.0 + 4.0) / 1.6)
    assert loads.transfer_kg.u == pytest.approx(300.0 * 0.015 / 1.6, rel=1e-6)


@pytest.mark.parametrize(
    ("role", "per_newton", "per_accel"),
    [
        # K = 2 · 40 kN/m · 0.8² = 51.2 kN/m; damper 0.8/K; tyres 2 · 102.4 kN/m
        ("damper_fl", 0.8 / 51.2e3, -0.8 / 51.2e3 * 58.75),
        ("damper_rr", 0.8 / 51.2e3, 0.8 / 51.2e3 * 58.75),
        ("pushrod_load_rl", 0.4, 0.4 * 58.75),
        ("ride_height_front", -(1 / 51.2e3 + 1 / 204.8e3), (1 / 51.2e3 + 1 / 204.8e3) * 58.75),
    ],
)
def test_expected_readings(role: str, per_newton: float, per_accel: float) -> None:
    sensor = sensor_of(role)
    assert sensor is not None
    expected = car_loads(CAR, 70.0).expected(sensor)
    assert expected is not None
    assert expected.per_newton == pytest.approx(per_newton, rel=1e-3)
    assert expected.per_accel == pytest.approx(per_accel, rel=1e-3)


def test_a_ride_height_ahead_of_its_axle_feels_pitch() -> None:
    ahead = replace(CAR, front=replace(AXLE, ride_height_sensor_x_m=Quantity(0.16, 0.0)))
    sensor = sensor_of("ride_height_front")
    assert sensor is not None
    here, there = (car_loads(car, 70.0).expected(sensor) for car in (CAR, ahead))
    assert here is not None
    assert there is not None
    # both axles are as soft, so pitch at 0.1 of the wheelbase adds 0.2 of one axle's movement
    assert there.per_accel == pytest.approx(1.2 * here.per_accel)


def test_without_springs_only_push_rods_are_expected() -> None:
    car = replace(CAR, front=replace(AXLE, spring_rate_n_per_m=None))
    loads = car_loads(car, 70.0)
    for role, known in (("damper_fl", False), ("ride_height_front", False), ("pushrod_load_fl", True)):
        sensor = sensor_of(role)
        assert sensor is not None
        assert (loads.expected(sensor) is not None) is known


def test_roles() -> None:
    assert is_suspension("ride_height_rl")
    assert not is_suspension("wheel_speed_fl")
    assert not is_suspension("damper_front_left")
    left = sensor_of("damper_rl")
    assert left is not None
    assert left.partner == "damper_rr"
    whole = sensor_of("ride_height_rear")
    assert whole is not None
    assert whole.partner is None


def test_words() -> None:
    sensor, rod = sensor_of("damper_fl"), sensor_of("pushrod_load_rr")
    assert sensor is not None
    assert rod is not None
    assert called(sensor) == "The front left damper (damper_fl)"
    assert size(sensor, 0.00213) == "2.1 mm"
    assert size(sensor, 1e-15) == "0 mm"
    assert size(rod, 123.4) == "123 N"
    assert runs_called([1, 2, 3], [1, 2, 3]) == "all day"
    assert runs_called([1], [1]) == "in run 1"
    assert runs_called([1, 2, 3, 7], range(1, 9)) == "in runs 1 to 3 and 7"
