"""The made-up day with axle loads: two sources, joints that hold back, constant-speed passes, stand tests.

Car and numbers are invented; loads come from ½ρU² SCz, joints lag by a constant, ride heights from the wheel rates.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.random import Generator

from server.analysis.result import (
    AtSpeed,
    AxleEnd,
    AxleLoadFit,
    BendTest,
    BudgetLine,
    Comparison,
    DayResult,
    Delta,
    Estimate,
    LoadSource,
    Pass,
    PassFit,
    SetupResult,
    SourceCheck,
    StandTest,
    VisitedHeight,
)
from server.testday.values import FloatArray, Source
from tests.web.made_up import AREAS, DENSITY, MASS, made_up_day_result

GRAVITY = 9.80665
FRONT_WEIGHT = 0.475
AXLES: tuple[AxleEnd, AxleEnd] = ("front", "rear")
SCZ = {"A": (1.62, 1.93), "B": (1.48, 2.05), "C": (1.70, 1.88)}
AXLE_RATE = {"front": 66_000.0, "rear": 72_000.0}
STATIC_M = {"front": 0.034, "rear": 0.038}
BAND_N = {"front": 38.0, "rear": 31.0}
SPEEDS_MPS = (10.0, 14.0, 18.0, 22.0, 26.0, 30.0)
STEADY_MPS = (14.0, 22.0)


def estimate(value: float, u: float, unit: str, source: Source = "measured") -> Estimate:
    return Estimate(value, u, value - 1.96 * u, value + 1.96 * u, unit, source)


def loaded_day(setups: str = "AB", *, bent: str = "B", heights: bool = True, pairs: int = 4) -> DayResult:
    """A day with damper travel and ride height; SCz of setup `bent` falls with ride height."""
    bare = made_up_day_result(setups, pairs)
    rng = np.random.default_rng(7)
    results = tuple(loaded_setup(setup, setup.name == bent, heights, rng) for setup in bare.setups)
    checks = (
        SourceCheck("front", "damper", "ride height", estimate(1.012, 0.011, "1"), 1.09),
        SourceCheck("rear", "damper", "ride height", estimate(0.93, 0.014, "1"), -4.6),
    )
    return dataclasses.replace(
        bare,
        name="Long apron with dampers, made up",
        reference={**bare.reference, "front_ride_height_m": 0.0298, "rear_ride_height_m": 0.0331},
        setups=results,
        comparisons=tuple(_comparison(one) for one in bare.comparisons),
        load_sources=("damper", "ride height"),
        source_checks=checks,
        stand_tests=_stand_tests(),
    )


def loaded_setup(setup: SetupResult, bent: bool, heights: bool, rng: Generator) -> SetupResult:
    """A setup of the made-up day with loads in every pass and two constant-speed passes."""
    front, rear = SCZ[setup.name]
    fits = [dataclasses.replace(fit, loads=pass_loads(fit, setup.name, rng)) for fit in setup.fits]
    steady = [steady_fit(setup, i, speed, rng) for i, speed in enumerate(STEADY_MPS)]
    scz, area = front + rear, AREAS[setup.name]
    estimates = {
        **setup.estimates,
        "SCz": estimate(scz, 0.04, "m²"),
        "SCz_front": estimate(front, 0.021, "m²"),
        "SCz_rear": estimate(rear, 0.028, "m²"),
        "balance_front": estimate(front / scz, 0.004, "–"),
        "LD": estimate(scz / area, 0.035, "–"),
        "weight_speed": estimate(float(np.sqrt(2 * MASS * GRAVITY / (DENSITY * scz))), 0.25, "m/s"),
    }
    if heights:
        estimates |= {f"ride_height_{axle}": height_at(setup.name, axle, 22.0) for axle in AXLES}
    return dataclasses.replace(
        setup,
        estimates=estimates,
        passes=(*setup.passes, *(fit.of for fit in steady)),
        fits=(*fits, *steady),
        budget=(*setup.budget, *load_budget(setup.name)),
        at_speeds=tuple(at_speed(setup.name, speed, heights) for speed in SPEEDS_MPS),
        visited=visited(setup.name, bent, heights),
        bend=bend(bent),
    )


def pass_loads(fit: PassFit, name: str, rng: Generator) -> tuple[AxleLoadFit, ...]:
    """Both axles by both sources; falling load is held back by the joints, rising load too, the other way."""
    time = fit.time_s[::2]
    air = fit.smoothed_mps[::2] + fit.head_wind_mps + fit.gust_mps[::2]
    found = []
    for axle, scz in zip(AXLES, SCZ[name], strict=True):
        for source in ("damper", "ride height"):
            found.append(axle_load(axle, source, (time, fit.speed_mps[::2], 0.5 * DENSITY * air**2), scz, rng))
    return tuple(found)


def axle_load(
    axle: AxleEnd, source: LoadSource, course: tuple[FloatArray, FloatArray, FloatArray], scz: float, seed: Generator
) -> AxleLoadFit:
    """One axle's load by one source over a course of time, speed and dynamic pressure: ride height is noisier."""
    time, speed, pressure = course
    fitted = scz * pressure
    friction = -BAND_N[axle] * np.tanh(np.gradient(fitted, time) / 20.0) * (source == "damper")
    noise = seed.normal(0, 12.0 if source == "damper" else 25.0, time.size)
    sink = (fitted + friction) / AXLE_RATE[axle]
    zero = None if source == "ride height" else float(seed.normal(0, 15.0))
    load = fitted + friction + noise
    return AxleLoadFit(
        axle, source, time, speed, pressure, load, fitted, friction, sink, zero, None if zero is None else 9.0
    )


def steady_fit(setup: SetupResult, number: int, speed: float, rng: Generator) -> PassFit:
    """A constant-speed pass: it tells loads only."""
    start = 500.0 + 60.0 * number
    one = Pass(
        setup.passes[0].run,
        setup.name,
        "constant-speed",
        1,
        start,
        start + 6.0,
        True,
        low_mps=speed - 0.2,
        high_mps=speed + 0.2,
    )
    time = start + np.arange(0.0, 6.0, 0.2)
    empty = np.zeros(0)
    shape = speed + 0.15 * np.sin(time)
    fit = PassFit(
        of=one,
        scx=float("nan"),
        scx_u=float("nan"),
        head_wind_mps=0.6,
        time_s=time,
        speed_mps=shape,
        fitted_mps=shape,
        smoothed_mps=shape,
        gust_mps=0.3 * np.sin(time / 2),
        resistance_n=empty,
        model_resistance_n=empty,
        innovation_time_s=empty,
        innovations=empty,
    )
    air = shape + 0.6 + fit.gust_mps
    loads = tuple(
        axle_load(axle, source, (time, shape, 0.5 * DENSITY * air**2), scz, rng)
        for axle, scz in zip(AXLES, SCZ[setup.name], strict=True)
        for source in ("damper", "ride height")
    )
    return dataclasses.replace(fit, loads=loads)


def height_at(name: str, axle: AxleEnd, speed: float) -> Estimate:
    """Ride height over an axle [m] at a steady speed."""
    scz = SCZ[name][AXLES.index(axle)]
    sink = scz * 0.5 * DENSITY * speed**2 / AXLE_RATE[axle]
    return estimate(STATIC_M[axle] - sink, 0.0003 + 0.03 * sink, "m")


def at_speed(name: str, speed: float, heights: bool) -> AtSpeed:
    pressure = 0.5 * DENSITY * speed**2
    front, rear = (scz * pressure for scz in SCZ[name])
    weight = MASS * GRAVITY
    sinks = [
        estimate(force / AXLE_RATE[a], 0.03 * force / AXLE_RATE[a], "m")
        for a, force in zip(AXLES, (front, rear), strict=True)
    ]
    heights_m = [height_at(name, axle, speed) for axle in AXLES] if heights else [None, None]
    rake = None
    if heights_m[0] is not None and heights_m[1] is not None:
        rake = estimate((heights_m[1].value - heights_m[0].value) / 1.54, 0.0003, "rad")
    return AtSpeed(
        speed,
        estimate(front, 0.012 * front + 1, "N"),
        estimate(rear, 0.014 * rear + 1, "N"),
        estimate(front + rear, 0.011 * (front + rear) + 1, "N"),
        estimate(0.5 * (FRONT_WEIGHT * weight + front), 0.007 * front + 2, "N"),
        estimate(0.5 * ((1 - FRONT_WEIGHT) * weight + rear), 0.007 * rear + 2, "N"),
        sinks[0],
        sinks[1],
        *heights_m,
        rake,
    )


def visited(name: str, bent: bool, heights: bool) -> tuple[VisitedHeight, ...]:
    """Four bands of each axle; the areas of a bent setup follow its slope about the reference condition."""
    found = []
    slopes = bend(bent).slope
    for axle, scz in zip(AXLES, SCZ[name], strict=True):
        reference = STATIC_M[axle] - height_at(name, axle, 22.0).value
        for i, sink in enumerate((0.002, 0.0042, 0.0066, 0.0092)):
            bow = slopes[axle].value * (sink - reference) if bent else 0.0
            value = estimate(scz * (1.0 + bow + 0.004 * (-1) ** i), 0.05 / (1 + i), "m²")
            height = estimate(STATIC_M[axle] - sink, 0.0003, "m") if heights else None
            found.append(VisitedHeight(axle, estimate(sink, 0.0002, "m"), value, 14.0 - 2 * i, height))
    return tuple(found)


def bend(bent: bool) -> BendTest:
    slope = 25.0 if bent else 2.0
    slopes = {"front": estimate(slope, 8.0, "1/m"), "rear": estimate(0.8 * slope, 7.0, "1/m")}
    return BendTest(21.3 if bent else 2.4, 0.005 if bent else 0.37, 199, bent, slopes)


def load_budget(name: str) -> tuple[BudgetLine, ...]:
    lines = []
    for quantity, u in (
        ("SCz_front", 0.021),
        ("SCz_rear", 0.028),
        ("SCz", 0.04),
        ("balance_front", 0.004),
        ("LD", 0.035),
    ):
        lines += [
            BudgetLine(quantity, "front wheel rate", 33_000.0, 330.0, "N/m", u / 500.0, 0.66 * u, "B", "typed"),
            BudgetLine(quantity, "gusts and sensor noise", None, None, "", None, 0.6 * u, "A", "measured"),
            BudgetLine(quantity, "friction of the front joints", 20.0, 15.0, "N", u / 40.0, 0.375 * u, "B", "default"),
            BudgetLine(quantity, "centre-of-gravity height", 0.285, 0.01, "m", 25 * u, 0.25 * u, "B", "typed"),
        ]
    assert name in SCZ
    return tuple(lines)


def _comparison(one: Comparison) -> Comparison:
    (f0, r0), (f1, r1) = SCZ[one.baseline], SCZ[one.setup]
    balance = f1 / (f1 + r1) - f0 / (f0 + r0)

    def delta(value: float, u: float, p: float, unit: str) -> Delta:
        return Delta(value, u, value - 1.96 * u, value + 1.96 * u, p, 2.8 * u, unit, 1.5 * u)

    more = {
        "SCz_front": delta(f1 - f0, 0.012, 0.0001, "m²"),
        "SCz_rear": delta(r1 - r0, 0.014, 0.0002, "m²"),
        "SCz": delta(f1 + r1 - f0 - r0, 0.02, 0.32, "m²"),
        "balance_front": delta(balance, 0.003, 0.0003, "–"),
        "LD": delta((f1 + r1) / AREAS[one.setup] - (f0 + r0) / AREAS[one.baseline], 0.04, 0.004, "–"),
    }
    return dataclasses.replace(one, deltas={**one.deltas, **more})


def _stand_tests() -> tuple[StandTest, ...]:
    return (
        StandTest(
            "driveline drag T0",
            estimate(6.4, 0.4, "N"),
            estimate(6.0, 1.5, "N", "typed"),
            0.26,
            "Three spin-downs give a driveline drag at rest of 6.4 ± 0.8 N.",
        ),
        StandTest(
            "driveline drag T1",
            estimate(0.31, 0.03, "N s/m"),
            None,
            None,
            "Three spin-downs give its rise with speed; nothing was entered.",
        ),
        StandTest(
            "front wheel rate",
            estimate(35_400.0, 300.0, "N/m"),
            estimate(33_000.0, 330.0, "N/m", "typed"),
            5.4,
            "20 kg over the front axle give 35.4 N/mm a wheel against 33.0 N/mm from spring rate and motion ratio.",
        ),
    )
