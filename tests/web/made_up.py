"""A made-up fitted day: car, venue and numbers are invented; the speeds come from the road-load equation."""

from __future__ import annotations

import numpy as np

from server.analysis.result import (
    BudgetLine,
    Comparison,
    DayResult,
    Delta,
    Estimate,
    IntervalMethod,
    IntervalWindow,
    Pass,
    PassFit,
    SetupResult,
)
from server.testday.values import Finding, FloatArray, Source

DENSITY = 1.212
MASS = 312.0
ROLLING = 0.021
AREAS = {"A": 1.52, "B": 1.38, "C": 1.44, "D": 1.31, "E": 1.60, "F": 1.47, "G": 1.41, "H": 1.35}


def estimate(value: float, u: float, unit: str, source: Source = "measured") -> Estimate:
    return Estimate(value, u, value - 1.97 * u, value + 1.98 * u, unit, source)


def coast(area: float, wind: float, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Time, speed and resistance of a coast-down from 27 to 11 m/s, at 10 Hz."""
    time, speed, force = [0.0], [27.0], []
    gust = 0.0
    while True:
        gust += -gust * 0.1 / 6.0 + rng.normal(0, 0.12)
        air = speed[-1] + wind + gust
        force.append(ROLLING * MASS * 9.81 + 8.0 + 0.4 * speed[-1] + 0.5 * DENSITY * area * air**2)
        if speed[-1] < 11.0 or len(time) > 400:
            break
        speed.append(speed[-1] - 0.1 * force[-1] / (MASS * 1.04))
        time.append(time[-1] + 0.1)
    return np.array(time), np.array(speed), np.array(force)


def pass_fit(of: Pass, area: float, wind: float, rng: np.random.Generator) -> PassFit:
    time, speed, force = coast(area, wind, rng)
    model = ROLLING * MASS * 9.81 + 8.0 + 0.4 * speed + 0.5 * DENSITY * area * (speed + wind) ** 2
    noisy = force + rng.normal(0, 12.0, time.size)
    return PassFit(
        of=of,
        scx=area + rng.normal(0, 0.03),
        scx_u=0.032,
        head_wind_mps=wind,
        time_s=time + of.start_s,
        speed_mps=speed + rng.normal(0, 0.02, time.size),
        fitted_mps=speed + 0.05 * np.sin(time / 5),
        smoothed_mps=speed,
        gust_mps=0.3 * np.sin(time / 4),
        resistance_n=noisy,
        model_resistance_n=model,
        innovation_time_s=time[1:] + of.start_s,
        innovations=rng.normal(0, 1, time.size - 1),
    )


def setup_result(name: str, first_run: int, pairs: int, rng: np.random.Generator) -> SetupResult:
    area = AREAS[name]
    passes, fits = [], []
    for index in range(2 * pairs):
        direction = 1 if index % 2 == 0 else -1
        one = Pass(
            first_run + index // 4,
            name,
            "coast-down",
            direction,
            40.0 + 90 * (index % 4),
            64.0 + 90 * (index % 4),
            True,
            "",
            True,
            11.0,
            27.0,
        )
        passes.append(one)
        fits.append(pass_fit(one, area, 0.9 * direction + rng.normal(0, 0.2), rng))
    passes.append(
        Pass(
            first_run,
            name,
            "coast-down",
            1,
            420.0,
            427.5,
            False,
            "the brake was touched after 7.5 s; <b>traffic</b>",
            False,
            20.1,
            26.4,
        )
    )
    passes.append(Pass(first_run, name, "zero", 0, 2.0, 12.0, True))
    u = 0.021
    return SetupResult(
        name=name,
        estimates={
            "SCx": estimate(area, u, "m²"),
            "SCx_apparent": estimate(area + 0.05, 0.014, "m²"),
            "SCz": estimate(3.4, 0.7, "m²", "default"),
            "SCz_front": estimate(1.6, 0.4, "m²", "default"),
            "SCz_rear": estimate(1.8, 0.4, "m²", "default"),
            "LD": estimate(3.4 / area, 0.5, "", "default"),
            "c0": estimate(0.0209, 0.0011, ""),
            "c1": estimate(0.00019, 0.00009, "s/m", "default"),
            "grade": estimate(0.0014, 0.0003, ""),
            "head_wind_out": estimate(0.9, 0.21, "m/s"),
        },
        passes=tuple(passes),
        fits=tuple(fits),
        interval_method=interval_method(area, pairs, rng),
        budget=budget(area),
        sample_scx=rng.normal(area, u, 2000),
    )


def interval_method(area: float, pairs: int, rng: np.random.Generator) -> IntervalMethod:
    windows = []
    for speed in (24.0, 21.0, 18.0, 15.0):
        force = ROLLING * MASS * 9.81 + 8 + 0.4 * speed + 0.5 * DENSITY * area * speed**2
        time = MASS * 1.04 * 2.78 / force
        out = tuple(float(time * (1 + rng.normal(0, 0.02))) for _ in range(pairs))
        back = tuple(float(time * (1 + rng.normal(0, 0.02))) for _ in range(pairs))
        windows.append(IntervalWindow(speed, out, back, float(time), 0.017, force))
    return IntervalMethod(
        tuple(windows),
        (71.0, 0.4, 0.5 * DENSITY * area),
        (76.0, 0.52 * DENSITY * area),
        estimate(area * 0.94, 0.11, "m²"),
        estimate(area * 1.03, 0.04, "m²"),
        "Four speeds, opposite-direction pairs, precision 0.017.",
    )


def budget(area: float) -> tuple[BudgetLine, ...]:
    return (
        BudgetLine("SCx", "coast-downs and gusts", None, None, "", None, 0.0140, "A", "measured"),
        BudgetLine("SCx", "driveline drag slope", 0.40, 0.20, "N s/m", -0.058, 0.0116, "B", "default"),
        BudgetLine("SCx", "rolling slope", 0.00019, 0.00009, "s/m", -95.0, 0.0086, "B", "default"),
        BudgetLine("SCx", "effective mass", 324.0, 1.4, "kg", area / 324.0, 0.0062, "B", "typed"),
        BudgetLine("SCx", "air density", 1.212, 0.003, "kg/m³", -area / 1.212, 0.0036, "B", "measured"),
    )


def delta(value: float) -> Delta:
    return Delta(value, 0.017, value - 0.033, value + 0.034, 0.0004 if abs(value) > 0.05 else 0.31, 0.048, "m²", 0.019)


def made_up_day_result(setups: str = "AB", pairs: int = 4, seed: int = 20260509) -> DayResult:
    rng = np.random.default_rng(seed)
    results = tuple(setup_result(name, 1 + 3 * i, pairs, rng) for i, name in enumerate(setups))
    first = setups[0]
    comparisons = tuple(Comparison(name, first, {"SCx": delta(AREAS[name] - AREAS[first])}) for name in setups[1:])
    return DayResult(
        name="Long apron, made up",
        reference={
            "speed_mps": 22.0,
            "density_kgm3": DENSITY,
            "pressure_pa": 100_900.0,
            "temperature_k": 290.15,
            "front_ride_height_m": None,
            "note": "still air",
        },
        setups=results,
        comparisons=comparisons,
        findings=(
            Finding(
                "downforce-assumed",
                "check",
                "No downforce was measured, typed or predicted; SCz 3.4 ± 1.4 m² is assumed.",
            ),
            Finding("default-used", "note", "The axle inertia was not given; 0.42 ± 0.08 kg m² is used."),
        ),
        noise={"gust_mps": estimate(0.52, 0.06, "m/s")},
        inputs={"mass": "312.0 kg, typed", "pressure": "1009.0 hPa, typed"},
        version="0.1.0",
    )
