"""What a simulated day is made from: the car and setups as a day file states them, the wind, the instruments.

Every `Quantity` is both what the day will state and the distribution that its truth is drawn from, so that
an interval which uses the stated uncertainties can be held against the truth.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field

from server.testday.values import (
    Axle,
    Car,
    Coasting,
    Direction,
    PredictionCase,
    Quantity,
    Setup,
    Venue,
    WeatherReading,
)


@dataclass(frozen=True, slots=True)
class SetupPlan:
    """A setup as the day states it, and the distributions its true areas are drawn from [m²]."""

    setup: Setup
    scx_m2: Quantity
    scz_front_m2: Quantity
    scz_rear_m2: Quantity


@dataclass(frozen=True, slots=True)
class RunPlan:
    """One outing. `directions`: one coast-down each, in order; between two alike the car drives back slowly.

    high_mps, low_mps: lift and brake speeds the driver aims at, hit within `aim_sd_mps`;
    speeds_mps: (high, low) for each coast-down where they differ, else empty.
    """

    number: int
    setup: str
    start_clock_s: float
    driver_mass_kg: Quantity
    directions: tuple[Direction, ...] = ("out", "back") * 4
    high_mps: float = 28.0
    low_mps: float = 8.0
    aim_sd_mps: float = 0.4
    coasting: Coasting = "neutral"
    notes: str = ""
    speeds_mps: tuple[tuple[float, float], ...] = ()

    def speeds(self) -> tuple[tuple[float, float], ...]:
        """(lift, brake) speed aimed at in each coast-down [m/s]."""
        return self.speeds_mps or ((self.high_mps, self.low_mps),) * len(self.directions)


@dataclass(frozen=True, slots=True)
class WindPlan:
    """The wind: a mean vector, a slow Ornstein–Uhlenbeck change of it over the day, and a gust.

    head_out_mps: mean head wind when travelling out; cross_mps: mean wind from the right when travelling out.
    slow_sd_mps, slow_time_s: the slow part, alike in both directions.
    gust_sd_mps, gust_time_s: the gust along the straight as a parked car would meet it; with a finite
    gust_length_m a moving car meets it faster, rate = 1/gust_time + U/gust_length.
    cross_gust_ratio: standard deviation of the gust across the straight over the one along it.
    """

    head_out_mps: Quantity = field(default=Quantity(0.0, 1.0))
    cross_mps: Quantity = field(default=Quantity(0.0, 1.0))
    slow_sd_mps: float = 0.3
    slow_time_s: float = 900.0
    gust_sd_mps: Quantity = field(default=Quantity(0.4, 0.1))
    gust_time_s: Quantity = field(default=Quantity(6.0, 1.5))
    gust_length_m: float = math.inf
    cross_gust_ratio: float = 0.8


@dataclass(frozen=True, slots=True)
class TyrePlan:
    """What the tyres do besides c0 and c1: scatter of c0 from pass to pass, and warm-up.

    c0 of a cold tyre is higher by the share `warm_up_rel`; warmth comes with `heating_s` of driving
    and goes with `cooling_s` of standing.
    """

    pass_scatter_rel: float = 0.02
    warm_up_rel: float = 0.04
    heating_s: float = 300.0
    cooling_s: float = 1200.0


@dataclass(frozen=True, slots=True)
class InstrumentPlan:
    """Sensors and loggers. A rate of 0 leaves the sensor out.

    wheel_scale: radius the logger was told over the true one; wheel_growth_rel: growth of the rolling
    radius at 30 m/s; teeth: of the pulse wheel; pitch_error_rel: scatter of its tooth pitch; timer_s: tick of
    the clock that times the teeth. satellite_delay_s: the receiver's delay. colour: slow part of its noise.
    damper_noise_m, friction_n: road roughness seen by one damper; joint friction per axle at the ground.
    """

    wheel_rate_hz: float = 100.0
    wheel_scale: Quantity = field(default=Quantity(1.0, 0.01))
    wheel_growth_rel: Quantity = field(default=Quantity(0.004, 0.002))
    teeth: int = 48
    pitch_error_rel: float = 0.005
    timer_s: float = 2e-5
    satellite_rate_hz: float = 10.0
    satellite_noise_mps: float = 0.05
    satellite_colour_mps: float = 0.03
    satellite_colour_s: float = 4.0
    satellite_delay_s: Quantity = field(default=Quantity(0.12, 0.03))
    position_rate_hz: float = 10.0
    position_noise_m: float = 0.4
    pedal_rate_hz: float = 50.0
    damper_rate_hz: float = 100.0
    damper_noise_m: float = 3e-4
    damper_zero_u_m: float = 1e-3
    friction_n: float = 15.0
    ride_height_noise_m: float = 4e-4


@dataclass(frozen=True, slots=True)
class DriverPlan:
    """How the car is driven between coast-downs.

    power_w, grip_mps2: limits of the acceleration; brake_mps2: stopping; turn_radius_m, turn_mps: the turn at
    each end; stand_s: standing before a pass; drive_back_mps: the slow drive to a turning mark;
    marks_m: (near, far) distance along 'out' at which the car turns; margin_m: kept free at both ends.
    """

    power_w: float = 45_000.0
    grip_mps2: float = 6.0
    brake_mps2: float = 6.0
    turn_radius_m: float = 5.0
    turn_mps: float = 2.5
    stand_s: float = 6.0
    drive_back_mps: float = 9.0
    marks_m: tuple[float, float] = (100.0, 520.0)
    margin_m: float = 20.0


@dataclass(frozen=True, slots=True)
class SimulationPlan:
    """Everything a day is simulated from. The truth is drawn anew for each seed where `draw` is True;
    otherwise every quantity is at its stated value and only wind and noise change.

    grade: slope of the straight where the venue states none; weather: as stated, without wind;
    anemometer_u_mps: reading error of a wind reading, None for no reading.
    yaw_sensitivity_per_rad2: k_β of SCx (1 + k_β β²); gravity_mps2.
    """

    name: str
    car: Car
    setups: tuple[SetupPlan, ...]
    runs: tuple[RunPlan, ...]
    venue: Venue
    weather: tuple[WeatherReading, ...]
    wind: WindPlan = WindPlan()
    tyres: TyrePlan = TyrePlan()
    instruments: InstrumentPlan = InstrumentPlan()
    driver: DriverPlan = DriverPlan()
    anemometer_u_mps: float | None = None
    grade: Quantity = field(default=Quantity(0.0, 0.002))
    yaw_sensitivity_per_rad2: Quantity = field(default=Quantity(2.0, 2.0))
    gravity_mps2: float = 9.80665
    reference_speed_mps: float = 22.0
    draw: bool = True
    date: dt.date | None = None
    timezone: str | None = None
    origin_rad: tuple[float, float] = (math.radians(54.1), math.radians(-3.9))
    notes: str = ""
    predictions: tuple[PredictionCase, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a plan that no day can be made from, naming what is wrong."""
        names = {planned.setup.name for planned in self.setups}
        if not names:
            raise ValueError("setups: at least one is needed")
        for run in self.runs:
            if run.setup not in names:
                raise ValueError(f"runs: run {run.number} names setup {run.setup!r}, which is not planned")
            if len(run.speeds()) != len(run.directions) or not run.directions:
                raise ValueError(
                    f"runs: run {run.number} needs one direction, and one pair of speeds, a coast-down"
                )
            if any(not high > low > 0.0 for high, low in run.speeds()):
                raise ValueError(f"runs: run {run.number} needs high_mps > low_mps > 0")
        if not self.runs:
            raise ValueError("runs: at least one is needed")
        if not self.weather:
            raise ValueError("weather: at least one reading is needed")
        if self.venue.heading_rad is None or self.venue.length_m is None:
            raise ValueError("venue: heading_rad and length_m are needed")
        if self.venue.length_m <= self.driver.marks_m[1]:
            raise ValueError("driver: the far mark lies beyond the straight")


def student_car() -> Car:
    """A made-up student formula car with the uncertainties that a team which measured its car would state."""
    return Car(
        name="student car",
        mass_kg=Quantity(236.0, 0.5),
        wheelbase_m=Quantity(1.54, 0.002),
        front_weight=Quantity(0.475, 0.003),
        cg_height_m=Quantity(0.285, 0.01),
        driveline_drag_n=Quantity(6.0, 2.0),
        driveline_drag_n_per_mps=Quantity(0.35, 0.12),
        rolling_c0=Quantity(0.020, 0.002),
        rolling_c1_s_per_m=Quantity(0.00014, 0.00005),
        front=student_axle(0.42, 39_000.0, 0.92),
        rear=student_axle(0.50, 44_000.0, 0.88),
    )


def student_axle(inertia_kgm2: float, spring_n_per_m: float, motion_ratio: float) -> Axle:
    """An axle of the made-up car."""
    return Axle(
        axle_inertia_kgm2=Quantity(inertia_kgm2, 0.1 * inertia_kgm2),
        tyre_radius_m=Quantity(0.2298, 0.001),
        spring_rate_n_per_m=Quantity(spring_n_per_m, 0.01 * spring_n_per_m),
        motion_ratio=Quantity(motion_ratio, 0.005),
        tyre_rate_n_per_m=Quantity(92_000.0, 5_000.0),
        ride_height_sensor_x_m=Quantity(0.0, 0.005),
    )


def default_plan(pairs: int = 4, gust_sd_mps: float = 0.4, compare: bool = True) -> SimulationPlan:
    """A made-up day of a student car on a 1,200 m straight: `pairs` out-and-back pairs a setup.

    compare: run a second setup between two halves of the first (A-B-A), else the first alone.
    """
    if pairs < 1:
        raise ValueError("pairs: at least one is needed")
    before = pairs - pairs // 2
    blocks = [("A", before), ("B", pairs), ("A", pairs // 2)] if compare else [("A", pairs)]
    driver = Quantity(72.0, 0.5)
    runs = tuple(
        RunPlan(i + 1, name, 9.25 * 3600.0 + 1500.0 * i, driver, ("out", "back") * count)
        for i, (name, count) in enumerate(block for block in blocks if block[1])
    )
    return SimulationPlan(
        name="made-up day",
        car=student_car(),
        setups=_default_setups(compare),
        runs=runs,
        venue=Venue(name="made-up straight", heading_rad=math.radians(82.0), length_m=1200.0),
        weather=(
            WeatherReading(None, Quantity(100_900.0, 50.0), Quantity(290.15, 0.3), Quantity(0.55, 0.03)),
        ),
        wind=WindPlan(gust_sd_mps=Quantity(gust_sd_mps, 0.2 * gust_sd_mps)),
    )


def _default_setups(compare: bool) -> tuple[SetupPlan, ...]:
    def planned(name: str, baseline: str | None, scx: float, front: float, rear: float) -> SetupPlan:
        scz_front, scz_rear = Quantity(front, 0.10), Quantity(rear, 0.12)
        setup = Setup(name, baseline, 0.034, 0.038, scz_front_m2=scz_front, scz_rear_m2=scz_rear)
        return SetupPlan(setup, Quantity(scx, 0.08), scz_front, scz_rear)

    first = planned("A", None, 1.45, 1.55, 1.85)
    return (first, planned("B", "A", 1.55, 1.50, 2.20)) if compare else (first,)
