"""The made-up season behind sample_data: an invented team, car and airfield, and what is true of them.

The truth is one car all season; what the day files state differs from it by about as much as they admit.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace

from server.analysis.simulate_plan import (
    DriverPlan,
    InstrumentPlan,
    RunPlan,
    SetupPlan,
    SimulationPlan,
    SteadyPlan,
    TyrePlan,
    WindPlan,
    student_axle,
)
from server.testday.values import Axle, Car, Direction, Quantity, Setup, Venue, WeatherReading

SEED = 2026

AREAS = {"A": (1.42, 1.55, 1.75), "B": (1.53, 1.45, 2.15), "C": (1.35, 1.30, 1.60)}
"""True SCx, SCz_front, SCz_rear of the season's setups at the reference condition [m²]."""

BENDS = {"C": (7.0, 3.0)}
"""True relative change of SCz_front and SCz_rear per metre that the body sinks over the axle [1/m]; others: none."""

STATIC_RIDE_HEIGHT_M = (0.034, 0.038)
OUT_AND_BACK: tuple[Direction, ...] = ("out", "back")


@dataclass(frozen=True, slots=True)
class SampleDay:
    """One day: its folder's name, seed and plan."""

    folder: str
    seed: int
    plan: SimulationPlan


def season() -> tuple[SampleDay, ...]:
    """The four days, in order."""
    return (
        SampleDay("2026-04-11 shakedown", SEED + 1, _shakedown()),
        SampleDay("2026-05-09 calm morning", SEED + 2, _calm_morning()),
        SampleDay("2026-06-20 gusty afternoon", SEED + 3, _gusty_afternoon()),
        SampleDay("2026-07-18 satellite only", SEED + 4, _satellite_only()),
    )


def true_car() -> Car:
    """The car as it is; the day files state what the team believes."""
    return Car(
        name="Wisp 5",
        mass_kg=Quantity(236.3),
        wheelbase_m=Quantity(1.541),
        front_weight=Quantity(0.477),
        cg_height_m=Quantity(0.291),
        driveline_drag_n=Quantity(6.8),
        driveline_drag_n_per_mps=Quantity(0.31),
        rolling_c0=Quantity(0.0203),
        rolling_c1_s_per_m=Quantity(0.00022),
        front=_true_axle(0.43, 39_200.0, 0.92, 0.102, 9.0),
        rear=_true_axle(0.49, 43_700.0, 0.88, -0.148, 8.0),
        anti_squat=Quantity(0.23),
    )


def _true_axle(inertia: float, spring: float, ratio: float, sensor_x_m: float, friction_n: float) -> Axle:
    return replace(
        student_axle(inertia, spring, ratio),
        tyre_radius_m=Quantity(0.2294),
        tyre_rate_n_per_m=Quantity(95_000.0),
        ride_height_sensor_x_m=Quantity(sensor_x_m),
        joint_friction_n=Quantity(friction_n),
    )


def _shakedown() -> SimulationPlan:
    runs = [replace(_run(n, "A", 15.5 + 0.1 * n, 71.7, 0), directions=("out",), low_mps=9.0) for n in (1, 2)]
    plan = _day("shakedown", dt.date(2026, 4, 11), ("A",), runs)
    wind = replace(plan.wind, head_out_mps=Quantity(1.1), gust_sd_mps=Quantity(0.5))
    return replace(plan, wind=wind, weather=(_air(16.0, 1007.5, 11.0, 0.71),))


def _calm_morning() -> SimulationPlan:
    order = (("A", 2), ("B", 4), ("A", 2), ("C", 4), ("A", 2))
    runs = [_run(n, setup, 8.4 + 0.4 * n, 71.7, pairs) for n, (setup, pairs) in enumerate(order, 1)]
    runs[-1] = replace(runs[-1], steady=tuple(SteadyPlan(way, v, 6.0) for v in (14.0, 22.0) for way in OUT_AND_BACK))
    plan = _day("calm morning", dt.date(2026, 5, 9), ("A", "B", "C"), runs)
    air = (_air(8.5, 1014.0, 12.0, 0.78), _air(9.75, 1014.2, 14.5, 0.66), _air(11.0, 1014.1, 16.0, 0.58))
    wind = replace(plan.wind, head_out_mps=Quantity(0.6), gust_sd_mps=Quantity(0.3))
    return replace(plan, wind=wind, weather=air, anemometer_u_mps=0.3)


def _gusty_afternoon() -> SimulationPlan:
    order = (("A", 2), ("B", 4), ("A", 2))
    runs = [_run(n, setup, 13.6 + 0.45 * n, 68.2, pairs) for n, (setup, pairs) in enumerate(order, 1)]
    plan = _day("gusty afternoon", dt.date(2026, 6, 20), ("A", "B"), runs)
    air = tuple(_air(14.0 + 0.5 * k, 1003.0 - 0.2 * k, 21.5 + 0.2 * k, 0.46) for k in range(4))
    wind = replace(
        plan.wind,
        head_out_mps=Quantity(-2.3),
        cross_mps=Quantity(1.2),
        slow_sd_mps=0.5,
        gust_sd_mps=Quantity(1.1),
        gust_time_s=Quantity(5.0),
    )
    return replace(plan, wind=wind, weather=air, anemometer_u_mps=0.4)


def _satellite_only() -> SimulationPlan:
    runs = [_run(1, "A", 18.2, 71.7, 4), _run(2, "C", 18.7, 71.7, 4)]
    plan = _day("satellite only", dt.date(2026, 7, 18), ("A", "C"), runs)
    instruments = replace(plan.instruments, wheel_rate_hz=0.0, pedal_rate_hz=0.0)
    instruments = replace(instruments, damper_rate_hz=0.0, ride_height_rate_hz=0.0)
    instruments = replace(instruments, position_rate_hz=10.0)
    wind = replace(plan.wind, head_out_mps=Quantity(0.9), gust_sd_mps=Quantity(0.4))
    return replace(plan, wind=wind, weather=(_air(18.5, 1011.0, 23.0, 0.5),), instruments=instruments)


def _day(name: str, date: dt.date, setups: tuple[str, ...], runs: list[RunPlan]) -> SimulationPlan:
    """What all days of the season share."""
    return SimulationPlan(
        name=name,
        car=true_car(),
        setups=tuple(_setup(setup) for setup in setups),
        runs=tuple(runs),
        venue=Venue("Skelmarsh old airfield", math.radians(82.0), 1200.0, elevation=_apron()),
        weather=(_air(12.0, 1013.0, 15.0, 0.6),),
        wind=WindPlan(
            cross_mps=Quantity(0.5),
            slow_sd_mps=0.25,
            gust_sd_mps=Quantity(0.4),
            gust_time_s=Quantity(7.0),
        ),
        tyres=TyrePlan(pass_scatter_rel=0.015, warm_up_rel=0.04),
        instruments=InstrumentPlan(
            wheel_rate_hz=50.0,
            wheel_scale=Quantity(0.991),
            wheel_growth_rel=Quantity(0.004),
            satellite_delay_s=Quantity(0.13),
            position_rate_hz=5.0,
            pedal_rate_hz=10.0,
            damper_rate_hz=10.0,
            ride_height_rate_hz=10.0,
        ),
        driver=DriverPlan(stand_s=4.0, marks_m=(330.0, 740.0)),
        yaw_sensitivity_per_rad2=Quantity(1.5),
        draw=False,
        date=date,
        timezone="Europe/London",
    )


def _setup(name: str) -> SetupPlan:
    scx, front, rear = (Quantity(area) for area in AREAS[name])
    bends = (Quantity(bend) for bend in BENDS.get(name, (0.0, 0.0)))
    return SetupPlan(Setup(name, None if name == "A" else "A", *STATIC_RIDE_HEIGHT_M), scx, front, rear, *bends)


def _run(number: int, setup: str, hour: float, driver_kg: float, pairs: int) -> RunPlan:
    clock = round(hour * 60.0) * 60.0
    directions = OUT_AND_BACK * max(pairs, 1)
    return RunPlan(number, setup, clock, Quantity(driver_kg), directions, coasting="inverter-off")


def _air(hour: float, pressure_hpa: float, temperature_c: float, humidity: float) -> WeatherReading:
    return WeatherReading(
        hour * 3600.0, Quantity(100.0 * pressure_hpa), Quantity(temperature_c + 273.15), Quantity(humidity)
    )


def _apron() -> tuple[tuple[float, float], ...]:
    """Height along the apron [m]: up by 0.8 in 1,000 going out, with a long low wave."""
    places = [10.0 * k for k in range(121)]
    return tuple((s, 0.0008 * s + 0.02 * math.sin(2.0 * math.pi * s / 270.0)) for s in places)
