"""The truth of one simulated day: drawn from what the plan states, then held while the day is driven."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from server.aero.air import air_density
from server.analysis.simulate_car import Draw, TrueCar, draw_car
from server.analysis.simulate_plan import SetupPlan, SimulationPlan
from server.analysis.simulate_reference import TrueAreas, areas_at_reference
from server.testday.values import FloatArray, Quantity, WeatherReading


@dataclass(frozen=True, slots=True, eq=False)
class TrueDay:
    """All that was drawn for one day. Wind series stand on `wind_clock_s` (seconds after midnight):
    slow head wind travelling out and slow cross wind from the right [m/s], means included."""

    car: TrueCar
    areas: Mapping[str, TrueAreas]
    driver_mass_kg: Mapping[int, float]
    grade: float
    yaw_sensitivity_per_rad2: float
    air_offset: tuple[float, float, float]
    gust_sd_mps: float
    gust_time_s: float
    wheel_scale: float
    wheel_growth: float
    satellite_delay_s: float
    wheel_delay_s: float
    wind_clock_s: FloatArray
    head_out_mps: FloatArray
    cross_mps: FloatArray


def draw_day(plan: SimulationPlan, rng: np.random.Generator) -> TrueDay:
    """Draw the truth of a day from the plan. Order of draws is fixed: a seed means one day."""
    draw = Draw(rng, plan.draw)
    car = draw_car(plan, draw)
    areas = {planned.setup.name: _draw_areas(planned, draw) for planned in plan.setups}
    driver = {run.number: draw.positive(run.driver_mass_kg) for run in plan.runs}
    mass = {name: _mean_mass(plan, car, driver, name) for name in areas}
    placed = {name: areas_at_reference(plan, car, found, mass[name]) for name, found in areas.items()}
    clock, head, cross = _slow_wind(plan, draw, rng)
    first = plan.weather[0]
    zero = Quantity(0.0, 1.0)
    return TrueDay(
        car=car,
        areas=placed,
        driver_mass_kg=driver,
        grade=draw.normal(plan.venue.grade or plan.grade),
        yaw_sensitivity_per_rad2=draw.non_negative(plan.yaw_sensitivity_per_rad2),
        air_offset=(
            first.pressure_pa.u * draw.normal(zero),
            first.temperature_k.u * draw.normal(zero),
            first.humidity.u * draw.normal(zero),
        ),
        gust_sd_mps=draw.non_negative(plan.wind.gust_sd_mps),
        gust_time_s=draw.positive(plan.wind.gust_time_s),
        wheel_scale=draw.normal(plan.instruments.wheel_scale),
        wheel_growth=draw.normal(plan.instruments.wheel_growth_rel),
        satellite_delay_s=max(0.0, draw.normal(plan.instruments.satellite_delay_s)),
        wheel_delay_s=_wheel_delay(plan.instruments.wheel_delay_s, draw),
        wind_clock_s=clock,
        head_out_mps=head,
        cross_mps=cross,
    )


def _wheel_delay(stated: Quantity, draw: Draw) -> float:
    """Nothing is drawn where it is exact, so that days of older plans stay what they were."""
    return stated.value if stated.u == 0.0 else max(0.0, draw.normal(stated))


def _draw_areas(planned: SetupPlan, draw: Draw) -> TrueAreas:
    return TrueAreas(
        scx_m2=draw.positive(planned.scx_m2),
        scz_front_m2=draw.normal(planned.scz_front_m2),
        scz_rear_m2=draw.normal(planned.scz_rear_m2),
        bend_front_per_m=draw.normal(planned.bend_front_per_m),
        bend_rear_per_m=draw.normal(planned.bend_rear_per_m),
    )


def _mean_mass(plan: SimulationPlan, car: TrueCar, driver: Mapping[int, float], setup: str) -> float:
    """Mass as run, the mean over the runs of a setup (over all where it has none) [kg]."""
    mine = [driver[run.number] for run in plan.runs if run.setup == setup] or list(driver.values())
    return car.mass_kg + float(np.mean(mine))


def density_at(weather: Sequence[WeatherReading], clock_s: float, offset: tuple[float, float, float]) -> float:
    """True air density [kg/m³] at a clock time: readings interpolated, moved by what they are off."""
    known = [reading for reading in weather if reading.clock_s is not None] or list(weather)
    clocks = [reading.clock_s or 0.0 for reading in known]
    pressure = np.interp(clock_s, clocks, [r.pressure_pa.value for r in known]) + offset[0]
    temperature = np.interp(clock_s, clocks, [r.temperature_k.value for r in known]) + offset[1]
    humidity = np.interp(clock_s, clocks, [r.humidity.value for r in known]) + offset[2]
    return float(air_density(pressure, temperature, float(np.clip(humidity, 0.0, 1.0))))


def ornstein_uhlenbeck(count: int, step_s: float, sd: float, time_s: float, rng: np.random.Generator) -> FloatArray:
    """A stationary Ornstein–Uhlenbeck series, exact at its samples.

    x_k = φ x_{k−1} + sd sqrt(1 − φ²) z_k, φ = exp(−step/time). Shape (count,).
    """
    phi = math.exp(-step_s / time_s)
    push = math.sqrt(1.0 - phi * phi)
    noise = rng.standard_normal(count)
    noise[1:] *= push
    return np.asarray(sd * lfilter([1.0], [1.0, -phi], noise))


def _slow_wind(plan: SimulationPlan, draw: Draw, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray]:
    step = 10.0
    clocks = [run.start_clock_s for run in plan.runs]
    clocks += [reading.clock_s for reading in plan.weather if reading.clock_s is not None]
    grid = np.arange(min(clocks) - 600.0, max(clocks) + 7200.0, step)
    wind = plan.wind
    along = ornstein_uhlenbeck(len(grid), step, wind.slow_sd_mps, wind.slow_time_s, rng)
    across = ornstein_uhlenbeck(len(grid), step, wind.slow_sd_mps, wind.slow_time_s, rng)
    return grid, draw.normal(wind.head_out_mps) + along, draw.normal(wind.cross_mps) + across
