"""What a coasting car's deceleration can be: published cars lie inside the band, a car in gear outside."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from server.analysis.coasting_band import CoastingBand, coasting_band
from server.analysis.pass_options import PassOptions
from server.analysis.resistance import deceleration_of, resistance_reason
from tests.analysis.driven_runs import made_car, made_run

TEST_CARS = Path(__file__).parents[3] / "shared/data/epa_test_cars/22-tstcar.csv"
LBF_N, MPH_MPS, LB_KG = 4.4482216152605, 0.44704, 0.45359237

# 40 CFR 86.529-98, figure F98-9: equivalent inertial mass [kg], A [N], C [N/(km/h)²]
MOTORCYCLES = [
    (100.0, 0.00, 0.0224),
    (150.0, 4.32, 0.0238),
    (200.0, 8.69, 0.0252),
    (250.0, 13.06, 0.0266),
    (300.0, 17.43, 0.0279),
    (340.0, 20.92, 0.0290),
]


def band_of(mass_kg: float) -> CoastingBand:
    return coasting_band(made_run({}), made_car(mass_kg - 72.0), PassOptions())


def coasts(mass_kg: np.ndarray, abc: np.ndarray, top: float, seconds: float = 400.0) -> np.ndarray:
    """Speeds of many cars by −m dv/dt = a + b v + c v² (SI), every 0.2 s; shape (samples, cars)."""
    v, rows = np.full(len(mass_kg), top), []
    for step in range(round(seconds / 0.04)):
        if step % 5 == 0:
            rows.append(v)
        v = np.maximum(v - 0.04 * (abc[0] + abc[1] * v + abc[2] * v**2) / mass_kg, 0.0)
    return np.array(rows)


def coast(mass_kg: float, abc: tuple[float, float, float], top: float, low: float) -> tuple[np.ndarray, np.ndarray]:
    speed = coasts(np.array([mass_kg]), np.array(abc)[:, None], top)[:, 0]
    speed = speed[speed > low]
    return 0.2 * np.arange(len(speed)), speed


def reason(mass_kg: float, time: np.ndarray, speed: np.ndarray) -> str:
    band = band_of(mass_kg)
    return resistance_reason(deceleration_of(time, speed, band), band, float(np.mean(speed)))


@pytest.mark.parametrize(("mass", "a", "c"), MOTORCYCLES[1:])
def test_published_motorcycles_coast(mass: float, a: float, c: float) -> None:
    time, speed = coast(mass, (a, 0.0, c * 3.6**2), 110 / 3.6, 20 / 3.6)
    assert reason(mass, time, speed) == ""


@pytest.mark.skipif(not TEST_CARS.exists(), reason="EPA test-car list is not beside the checkout")
def test_published_production_cars_coast() -> None:
    """US EPA 2022 test-car list: target coefficients A [lbf], B [lbf/mph], C [lbf/mph²], weight [lb]."""
    with TEST_CARS.open(encoding="latin-1", newline="") as file:
        rows = list(csv.DictReader(file))
    head = {name.strip().lstrip("ï»¿"): name for name in rows[0]}
    keys = [next(full for short, full in head.items() if short.startswith(start)) for start in (
        "Equivalent Test Weight", "Target Coef A", "Target Coef B", "Target Coef C")]  # fmt: skip
    table = {tuple(float(row[key] or 0.0) for key in keys) for row in rows}
    cars = np.array([car for car in sorted(table) if min(car[0], car[1]) > 0.0])
    assert len(cars) > 500
    mass = cars[:, 0] * LB_KG
    newtons = np.array([cars[:, 1] * LBF_N, cars[:, 2] * LBF_N / MPH_MPS, cars[:, 3] * LBF_N / MPH_MPS**2])
    speeds = coasts(mass, newtons, 115 / 3.6)
    refused = []
    for i, car in enumerate(cars):
        speed = speeds[speeds[:, i] > 15 / 3.6, i]
        if why := reason(mass[i], 0.2 * np.arange(len(speed)), speed):
            refused.append((car, why))
    assert refused == []


def test_a_student_car_coasts_and_in_gear_it_does_not() -> None:
    # drag area 1.75 m², rolling 0.025: slicks at low pressure (common practice, no source)
    mass, air = 330.0, 0.5 * 1.2 * 1.75
    time, speed = coast(mass, (0.025 * mass * 9.81 + 6.0, 0.4, air), 25.0, 6.0)
    assert reason(mass, time, speed) == ""
    time, speed = coast(mass, (0.025 * mass * 9.81 + 400.0, 10.0, air), 25.0, 6.0)
    assert "even without air" in reason(mass, time, speed)


def test_a_parachute_and_a_gentle_throttle() -> None:
    time, speed = coast(330.0, (60.0, 0.0, 0.5 * 1.2 * 6.0), 25.0, 12.0)
    assert "more than tyres and air can" in reason(330.0, time, speed)
    time = np.arange(0.0, 6.0, 0.2)
    assert "hardly slows down" in reason(330.0, time, 20.0 - 0.1 * time)


def test_the_level_is_recovered_with_an_error_that_covers_noise_and_gusts() -> None:
    mass, errors = 320.0, []
    time, calm = coast(mass, (70.0, 0.0, 0.84), 24.0, 6.0)
    for seed in range(150):
        rng = np.random.default_rng(seed)
        speed = calm
        gust = rng.normal(0.0, 0.06) * speed**2 * 0.84 / mass
        speed = speed + np.cumsum(gust) * 0.2 + rng.normal(0.0, 0.05, len(speed))
        found = deceleration_of(time, speed, band_of(mass))
        errors.append((found.level_mps2 - 70.0 / mass) / found.level_u_mps2)
    assert np.mean(np.abs(errors) < 2.0) > 0.9


def test_too_few_samples_are_named() -> None:
    with pytest.raises(ValueError, match="time_s"):
        deceleration_of(np.arange(2.0), np.arange(2.0), band_of(300.0))
