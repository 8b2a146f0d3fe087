"""The truth of one simulated day: drawn from what the plan states, then held while the day is driven."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from server.aero.air import air_density
from server.analysis.simulate_plan import SimulationPlan
from server.testday.values import Car, FloatArray, Quantity, WeatherReading


@dataclass(frozen=True, slots=True)
class TrueAreas:
    """True areas of a setup [m²]."""

    scx_m2: float
    scz_front_m2: float
    scz_rear_m2: float


@dataclass(frozen=True, slots=True)
class TrueCar:
    """The car as it really is. Names as in `Car`; axle pairs are (front, rear)."""

    mass_kg: float
    wheelbase_m: float
    front_weight: float
    cg_height_m: float
    driveline_drag_n: float
    driveline_drag_n_per_mps: float
    rolling_c0: float
    rolling_c1_s_per_m: float
    axle_inertia_kgm2: tuple[float, float]
    tyre_radius_m: tuple[float, float]
    axle_rate_n_per_m: tuple[float, float]
    motion_ratio: tuple[float, float]
    tyre_rate_n_per_m: tuple[float, float]
    sensor_x_m: tuple[float, float]

    @property
    def rotating_mass_kg(self) -> float:
        """Σ J/r² [kg]."""
        return sum(j / r**2 for j, r in zip(self.axle_inertia_kgm2, self.tyre_radius_m, strict=True))


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
    wind_clock_s: FloatArray
    head_out_mps: FloatArray
    cross_mps: FloatArray


class Draw:
    """Draws quantities about their stated values; with `draw` off it gives the stated values."""

    def __init__(self, rng: np.random.Generator, draw: bool) -> None:
        self._rng = rng
        self._draw = draw

    def normal(self, quantity: Quantity) -> float:
        """Normal about the stated value with its u."""
        z = float(self._rng.standard_normal())
        return quantity.value + (quantity.u * z if self._draw else 0.0)

    def positive(self, quantity: Quantity) -> float:
        """Normal, cut at a hundredth of the stated value: for what can't be negative."""
        floor = 0.01 * abs(quantity.value)
        for _ in range(200):
            value = self.normal(quantity)
            if value >= floor:
                return value
        raise ValueError(f"a quantity of {quantity.value} ± {quantity.u} is hardly ever positive")


def draw_day(plan: SimulationPlan, rng: np.random.Generator) -> TrueDay:
    """Draw the truth of a day from the plan. Order of draws is fixed: a seed means one day."""
    draw = Draw(rng, plan.draw)
    car = _draw_car(plan.car, draw)
    areas = {
        planned.setup.name: TrueAreas(
            draw.positive(planned.scx_m2), draw.normal(planned.scz_front_m2), draw.normal(planned.scz_rear_m2)
        )
        for planned in plan.setups
    }
    driver = {run.number: draw.positive(run.driver_mass_kg) for run in plan.runs}
    clock, head, cross = _slow_wind(plan, draw, rng)
    first = plan.weather[0]
    zero = Quantity(0.0, 1.0)
    return TrueDay(
        car=car,
        areas=areas,
        driver_mass_kg=driver,
        grade=draw.normal(plan.venue.grade or plan.grade),
        yaw_sensitivity_per_rad2=_non_negative(plan.yaw_sensitivity_per_rad2, draw),
        air_offset=(
            first.pressure_pa.u * draw.normal(zero),
            first.temperature_k.u * draw.normal(zero),
            first.humidity.u * draw.normal(zero),
        ),
        gust_sd_mps=_non_negative(plan.wind.gust_sd_mps, draw),
        gust_time_s=draw.positive(plan.wind.gust_time_s),
        wheel_scale=draw.normal(plan.instruments.wheel_scale),
        wheel_growth=draw.normal(plan.instruments.wheel_growth_rel),
        satellite_delay_s=max(0.0, draw.normal(plan.instruments.satellite_delay_s)),
        wind_clock_s=clock,
        head_out_mps=head,
        cross_mps=cross,
    )


def density_at(
    weather: Sequence[WeatherReading], clock_s: float, offset: tuple[float, float, float]
) -> float:
    """True air density [kg/m³] at a clock time: readings interpolated, moved by what they are off."""
    known = [reading for reading in weather if reading.clock_s is not None] or list(weather)
    clocks = [reading.clock_s or 0.0 for reading in known]
    pressure = np.interp(clock_s, clocks, [r.pressure_pa.value for r in known]) + offset[0]
    temperature = np.interp(clock_s, clocks, [r.temperature_k.value for r in known]) + offset[1]
    humidity = np.interp(clock_s, clocks, [r.humidity.value for r in known]) + offset[2]
    return float(air_density(pressure, temperature, float(np.clip(humidity, 0.0, 1.0))))


def ornstein_uhlenbeck(
    count: int, step_s: float, sd: float, time_s: float, rng: np.random.Generator
) -> FloatArray:
    """A stationary Ornstein–Uhlenbeck series, exact at its samples.

    x_k = φ x_{k−1} + sd sqrt(1 − φ²) z_k, φ = exp(−step/time). Shape (count,).
    """
    phi = math.exp(-step_s / time_s)
    push = math.sqrt(1.0 - phi * phi)
    noise = rng.standard_normal(count)
    noise[1:] *= push
    return np.asarray(sd * lfilter([1.0], [1.0, -phi], noise))


def _draw_car(car: Car, draw: Draw) -> TrueCar:
    axles = (car.front, car.rear)
    stiffness = [_axle_rate(q.spring_rate_n_per_m, q.motion_ratio, draw) for q in axles]
    return TrueCar(
        mass_kg=draw.positive(car.mass_kg),
        wheelbase_m=draw.positive(car.wheelbase_m),
        front_weight=draw.positive(car.front_weight),
        cg_height_m=draw.positive(car.cg_height_m),
        driveline_drag_n=_non_negative(car.driveline_drag_n, draw),
        driveline_drag_n_per_mps=_non_negative(car.driveline_drag_n_per_mps, draw),
        rolling_c0=draw.positive(car.rolling_c0),
        rolling_c1_s_per_m=_non_negative(car.rolling_c1_s_per_m, draw),
        axle_inertia_kgm2=_pair([draw.positive(q.axle_inertia_kgm2) for q in axles]),
        tyre_radius_m=_pair([draw.positive(q.tyre_radius_m) for q in axles]),
        axle_rate_n_per_m=_pair([rate for rate, _ in stiffness]),
        motion_ratio=_pair([ratio for _, ratio in stiffness]),
        tyre_rate_n_per_m=_pair([draw.positive(q.tyre_rate_n_per_m) for q in axles]),
        sensor_x_m=_pair([draw.normal(q.ride_height_sensor_x_m) for q in axles]),
    )


def _axle_rate(spring: Quantity | None, ratio: Quantity | None, draw: Draw) -> tuple[float, float]:
    """Axle force per wheel travel K = 2 · spring rate · MR² [N/m], and MR."""
    true_ratio = draw.positive(ratio or Quantity(1.0, 0.02, "default"))
    return 2.0 * draw.positive(spring or Quantity(40_000.0, 2_000.0, "default")) * true_ratio**2, true_ratio


def _non_negative(quantity: Quantity, draw: Draw) -> float:
    return draw.positive(quantity) if quantity.value > 0.0 else 0.0


def _pair(values: Sequence[float]) -> tuple[float, float]:
    return values[0], values[1]


def _slow_wind(
    plan: SimulationPlan, draw: Draw, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    step = 10.0
    clocks = [run.start_clock_s for run in plan.runs]
    clocks += [reading.clock_s for reading in plan.weather if reading.clock_s is not None]
    grid = np.arange(min(clocks) - 600.0, max(clocks) + 7200.0, step)
    wind = plan.wind
    along = ornstein_uhlenbeck(len(grid), step, wind.slow_sd_mps, wind.slow_time_s, rng)
    across = ornstein_uhlenbeck(len(grid), step, wind.slow_sd_mps, wind.slow_time_s, rng)
    return grid, draw.normal(wind.head_out_mps) + along, draw.normal(wind.cross_mps) + across
