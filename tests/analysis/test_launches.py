"""Launches weigh the load transfer, honestly: against hostile days whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.launches import launch_transfer
from server.analysis.prepare import prepare_day
from tests.analysis.suspension_days import hostile
from tests.simulator import HostileDay


def true_transfer(made: HostileDay) -> float:
    """(m h + ΣJ/r)/L of the day's truth in units of the entered wheel rate [kg]."""
    truth, car = made.truth, made.day.car
    spin = truth["front_inertia"] / car.front.tyre_radius_m.value + truth["rear_inertia"] / car.rear.tyre_radius_m.value
    spring, ratio = car.front.spring_rate_n_per_m, car.front.motion_ratio
    assert spring is not None
    assert ratio is not None
    entered = 2.0 * spring.value * ratio.value**2
    transfer = (truth["mass"] * truth["cg_height"] + spin) / car.wheelbase_m.value
    return float(transfer * entered / truth["front_wheel_rate"])


@pytest.mark.study
@pytest.mark.parametrize(("wind", "rms"), [("calm", 0.05), ("gusty", 0.07)])
def test_errors_are_within_what_is_claimed(wind: str, rms: float) -> None:
    errors, us = [], []
    for seed in range(9001, 9013):
        made = hostile(seed, pairs=4, wind=wind, downforce_m2=(1.5, 5.0))
        found = launch_transfer(prepare_day(made.day)[0])
        assert found is not None
        assert found.launches >= 4
        truth = true_transfer(made)
        errors.append(found.slope_kg / truth - 1.0)
        us.append(found.u_kg / truth)
    pulls = np.array(errors) / np.array(us)
    assert float(np.sqrt(np.mean(np.square(errors)))) < rms
    assert float(np.max(us)) < 0.10
    # χ² of 12 pulls lies below 26.2 with 99 %; from below only gross over-caution is caught
    assert 3.0 < float(np.sum(pulls**2)) < 26.2


def test_what_is_expected_is_the_car_as_entered() -> None:
    made = hostile(9001, pairs=2, wind="calm", downforce_m2=(3.0, 5.0))
    found = launch_transfer(prepare_day(made.day)[0])
    assert found is not None
    car, driver = made.day.car, made.day.runs[0].driver_mass_kg.value
    spin = sum(a.axle_inertia_kgm2.value / a.tyre_radius_m.value for a in (car.front, car.rear))
    expected = ((car.mass_kg.value + driver) * car.cg_height_m.value + spin) / car.wheelbase_m.value
    assert found.expected_kg == pytest.approx(expected)
    assert found.expected_u_kg > (car.mass_kg.value + driver) * car.cg_height_m.u / car.wheelbase_m.value


def test_a_driven_front_axle_or_no_sensors_tell_nothing() -> None:
    day = prepare_day(hostile(9001, pairs=1, wind="calm").day)[0]
    assert launch_transfer(replace(day, car=replace(day.car, driven="front"))) is None
    front = frozenset({"damper_fl", "damper_fr"})
    assert launch_transfer(day, {run.number: front for run in day.runs}) is None
