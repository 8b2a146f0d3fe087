"""What a simulated day is made from: the car and setups as a day file states them, the wind, the instruments.

Every `Quantity` is both what the day will state and the distribution that its truth is drawn from, so that
an interval which uses the stated uncertainties can be held against the truth.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field

from server.analysis.simulate_parts import LIFT_SPEED_MPS, DriverPlan, InstrumentPlan, TyrePlan, WindPlan
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

__all__ = [
    "LIFT_SPEED_MPS",
    "DriverPlan",
    "InstrumentPlan",
    "RunPlan",
    "SetupPlan",
    "SimulationPlan",
    "SteadyPlan",
    "TyrePlan",
    "WindPlan",
    "default_plan",
    "student_axle",
    "student_car",
]


@dataclass(frozen=True, slots=True)
class SetupPlan:
    """A setup as the day states it, and the distributions its true areas are drawn from [m²].

    Areas are those at the reference condition; bend: relative change of an axle's SCz per metre that the body
    sinks further over it [1/m].
    """

    setup: Setup
    scx_m2: Quantity
    scz_front_m2: Quantity
    scz_rear_m2: Quantity
    bend_front_per_m: Quantity = field(default=Quantity(0.0))
    bend_rear_per_m: Quantity = field(default=Quantity(0.0))


@dataclass(frozen=True, slots=True)
class SteadyPlan:
    """A constant-speed pass: the speed is held for hold_s, or until the car must brake."""

    direction: Direction
    speed_mps: float
    hold_s: float = 8.0


@dataclass(frozen=True, slots=True)
class RunPlan:
    """One outing. `directions`: one coast-down each, in order; between two alike the car drives back slowly.
    steady: constant-speed passes after them, in order.

    high_mps, low_mps: lift and brake speeds the driver aims at, hit within `aim_sd_mps`;
    speeds_mps: (high, low) for each coast-down where they differ, else empty. brake_drag_n: of brakes that drag all
    through the run.
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
    steady: tuple[SteadyPlan, ...] = ()
    brake_drag_n: float = 0.0

    def speeds(self) -> tuple[tuple[float, float], ...]:
        """(lift, brake) speed aimed at in each coast-down [m/s]."""
        return self.speeds_mps or ((self.high_mps, self.low_mps),) * len(self.directions)


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
    wind: WindPlan = field(default=WindPlan())
    tyres: TyrePlan = field(default=TyrePlan())
    instruments: InstrumentPlan = field(default=InstrumentPlan())
    driver: DriverPlan = field(default=DriverPlan())
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
            if any(not steady.speed_mps > 0.0 or not steady.hold_s > 0.0 for steady in run.steady):
                raise ValueError(f"runs: run {run.number} needs speed_mps > 0 and hold_s > 0 of what it holds")
            if len(run.speeds()) != len(run.directions) or not (run.directions or run.steady):
                raise ValueError(f"runs: run {run.number} needs one direction, and one pair of speeds, a coast-down")
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
        anti_squat=Quantity(0.15, 0.05),
    )


def student_axle(inertia_kgm2: float, spring_n_per_m: float, motion_ratio: float) -> Axle:
    """An axle of the made-up car."""
    return Axle(
        axle_inertia_kgm2=Quantity(inertia_kgm2, 0.1 * inertia_kgm2),
        tyre_radius_m=Quantity(0.2298, 0.001),
        spring_rate_n_per_m=Quantity(spring_n_per_m, 0.01 * spring_n_per_m),
        motion_ratio=Quantity(motion_ratio, 0.005),
        wheel_rate_rel_u=0.01,
        tyre_rate_n_per_m=Quantity(92_000.0, 5_000.0),
        ride_height_sensor_x_m=Quantity(0.0, 0.005),
        joint_friction_n=Quantity(8.0, 3.0),
    )


def default_plan(pairs: int = 4, gust_sd_mps: float = 0.4, compare: bool = True, loads: bool = False) -> SimulationPlan:
    """A made-up day of a student car on a 1,200 m straight: `pairs` out-and-back pairs a setup.

    compare: run a second setup between two halves of the first (A-B-A), else the first alone; loads: with dampers
    and ride-height sensors.
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
        weather=(WeatherReading(None, Quantity(100_900.0, 50.0), Quantity(290.15, 0.3), Quantity(0.55, 0.03)),),
        wind=WindPlan(gust_sd_mps=Quantity(gust_sd_mps, 0.2 * gust_sd_mps)),
        instruments=InstrumentPlan(damper_rate_hz=50.0, ride_height_rate_hz=50.0) if loads else InstrumentPlan(),
    )


def _default_setups(compare: bool) -> tuple[SetupPlan, ...]:
    def planned(name: str, baseline: str | None, scx: float, front: float, rear: float) -> SetupPlan:
        scz_front, scz_rear = Quantity(front, 0.10), Quantity(rear, 0.12)
        setup = Setup(name, baseline, 0.034, 0.038, scz_front_m2=scz_front, scz_rear_m2=scz_rear)
        return SetupPlan(setup, Quantity(scx, 0.08), scz_front, scz_rear)

    first = planned("A", None, 1.45, 1.55, 1.85)
    return (first, planned("B", "A", 1.55, 1.50, 2.20)) if compare else (first,)
