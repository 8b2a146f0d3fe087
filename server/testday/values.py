"""A test day as frozen plain values, SI inside (m, kg, s, N, Pa, K, rad; humidity 0 to 1).

A database and a folder both build the same `Day`; the analysis sees nothing else.
Clock times are seconds after local midnight of the day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Source = Literal["measured", "typed", "predicted", "default"]
FindingGrade = Literal["note", "check", "stop"]
Coasting = Literal["neutral", "clutch", "inverter-off", "zero-torque", "in-gear", "unknown"]
Direction = Literal["out", "back"]
Driven = Literal["front", "rear", "all"]
Surface = Literal["dry", "damp", "wet"]


SLOPE_REL_U = 0.005  # of a sensor of which nobody said more (common practice, no source)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value, its standard uncertainty u (same unit) and where it came from."""

    value: float
    u: float = 0.0
    source: Source = "typed"


@dataclass(frozen=True, slots=True)
class Finding:
    """Something the program noticed: what, where, what it may mean, what to do.

    `code` is a stable slug listed in `server.testday.findings.CODES`; times are on the run's clock [s].
    """

    code: str
    grade: FindingGrade
    text: str
    run: int | None = None
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """One column as logged, in its own unit and at its own rate; blanks are left out.

    time_s, values: shape (n,); unit is the spelling found in the file or None.
    """

    name: str
    unit: str | None
    time_s: FloatArray
    values: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class TypedCoastDown:
    """Marks of one coast-down, as a stopwatch and a speedometer gave them: at time_s [s] the needle passed
    speed_mps [m/s, as read]. Shape (n,) each, n at least 2; times rise, speeds fall."""

    time_s: FloatArray
    speed_mps: FloatArray
    direction: Direction | None = None


@dataclass(frozen=True, slots=True, eq=False)
class TypedTimes:
    """Hand-typed coast-downs: a log where there is no logger. Reading = gain · true speed + offset.

    seconds_u_s: u of the time of one mark; speed_u_mps: u of reading the needle, a mark; offset_mps, gain: of the
    speedometer, the same all day.
    """

    coast_downs: tuple[TypedCoastDown, ...]
    seconds_u_s: float
    speed_u_mps: float
    gain: Quantity
    offset_mps: Quantity


@dataclass(frozen=True, slots=True, eq=False)
class RawLog:
    """A logger file as read. `description` says in a sentence what the file was taken to be.

    start_clock_s: local clock of t = 0 [s after midnight], where the log carries clock times; UTC where
    clock_is_utc. time_column: the column that was taken for the time. typed: what was typed by hand instead
    of logged.
    """

    file: str
    channels: tuple[Channel, ...]
    description: str
    start_clock_s: float | None = None
    start_date: dt.date | None = None
    findings: tuple[Finding, ...] = ()
    clock_is_utc: bool = False
    time_column: str | None = None
    typed: TypedTimes | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """One role's samples in SI units on the run's clock. time_s, values: shape (n,)."""

    time_s: FloatArray
    values: FloatArray
    name: str = ""


@dataclass(frozen=True, slots=True)
class LogFile:
    """A run's log as named in the day: path inside the folder, clock offset, part of the file used.

    signals: file in the folder that says which signals a raw bus log's frames carry; the day's where None.
    """

    file: str
    clock_offset_s: float = 0.0
    from_s: float | None = None
    to_s: float | None = None
    signals: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A log joined to a run: role → signal in SI units, on the run's clock (offset and cut applied).

    start_clock_s: local clock of the run clock's zero [s after midnight], where known. typed: hand-typed
    coast-downs in place of signals, on the run's clock.
    """

    file: str
    signals: Mapping[str, Signal]
    start_clock_s: float | None = None
    description: str = ""
    findings: tuple[Finding, ...] = ()
    typed: TypedTimes | None = None


@dataclass(frozen=True, slots=True)
class PassEdit:
    """A person's word on a stretch of a run: [start_s, end_s] on the run's clock."""

    start_s: float
    end_s: float
    used: bool = True
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Calibration:
    """Raw reading to unit: gain and offset, or a table of (raw, value); gain_rel_u: relative u of the slope, None where
    nobody stated it."""

    gain: float | None = None
    offset: float = 0.0
    table: tuple[tuple[float, float], ...] = ()
    unit: str = ""
    gain_rel_u: float | None = None

    @property
    def slope_rel_u(self) -> float:
        """Relative u of the slope, that of any sensor's where nothing was stated."""
        return SLOPE_REL_U if self.gain_rel_u is None else self.gain_rel_u


@dataclass(frozen=True, slots=True)
class Axle:
    """One axle of the car. Inertia is that of both wheels and what turns with them, at wheel speed.

    Rates and joint friction are those of one corner; tables of travel count from the standing car.
    wheel_rate_rel_u: relative u of the wheel rate in all; None: follows from spring rate and motion ratio.
    heave_table: force of heave spring and bump stops of the whole axle, besides the corner springs.
    pushrod_ratio: load at the wheel over load in the rod. ride_height_sensor_x_m: ahead of this axle.
    """

    axle_inertia_kgm2: Quantity
    tyre_radius_m: Quantity
    spring_rate_n_per_m: Quantity | None = None
    motion_ratio: Quantity | None = None
    motion_ratio_table: tuple[tuple[float, float], ...] = ()  # wheel travel m, ratio
    wheel_rate_rel_u: float | None = None
    tyre_rate_n_per_m: Quantity = Quantity(90_000.0, 20_000.0, "default")
    heave_table: tuple[tuple[float, float], ...] = ()  # wheel travel m, axle force N
    ride_height_sensor_x_m: Quantity = Quantity(0.0, 0.05, "default")
    joint_friction_n: Quantity = Quantity(20.0, 15.0, "default")
    pushrod_ratio: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Car:
    """What stays the same all day. `mass_kg` is ready to run, without driver."""

    name: str
    mass_kg: Quantity
    wheelbase_m: Quantity
    front_weight: Quantity
    cg_height_m: Quantity
    driveline_drag_n: Quantity
    driveline_drag_n_per_mps: Quantity
    rolling_c0: Quantity
    rolling_c1_s_per_m: Quantity
    front: Axle
    rear: Axle
    driven: Driven = "rear"
    anti_squat: Quantity = Quantity(0.15, 0.20, "default")
    corner_mass_kg: tuple[float, float, float, float] | None = None
    calibration: Mapping[str, Calibration] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Venue:
    """The straight. heading_rad is the true heading of the 'out' direction.

    elevation: (distance m, elevation m) along 'out', or empty; grade positive uphill travelling out.
    """

    name: str = ""
    heading_rad: float | None = None
    length_m: float | None = None
    grade: Quantity | None = None
    elevation: tuple[tuple[float, float], ...] = ()
    altitude_m: float | None = None


@dataclass(frozen=True, slots=True)
class WeatherReading:
    """One reading. clock_s is seconds after local midnight, None for 'all day'.

    wind_from_rad is the true direction the wind comes from; humidity 0 to 1.
    """

    clock_s: float | None
    pressure_pa: Quantity
    temperature_k: Quantity
    humidity: Quantity
    wind_speed_mps: Quantity | None = None
    wind_from_rad: Quantity | None = None
    gust_mps: float | None = None
    surface: Surface | None = None


@dataclass(frozen=True, slots=True)
class Setup:
    """A named state of the car, as a change to a baseline. ballast_kg: aboard in it, on top of the car's mass."""

    name: str
    baseline: str | None = None
    front_ride_height_m: float | None = None
    rear_ride_height_m: float | None = None
    parts: Mapping[str, str | float | bool] = field(default_factory=dict)
    scz_front_m2: Quantity | None = None
    scz_rear_m2: Quantity | None = None
    notes: str = ""
    ballast_kg: Quantity | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One outing's recording(s) in one setup.

    driver: name; remarks: what the driver said; tyre_cold_pa, tyre_hot_pa: gauge pressures front left, front right,
    rear left, rear right, before the run and right after it; None for a corner that was not read, () for none.
    """

    number: int
    setup: str
    logs: tuple[LogFile, ...]
    driver_mass_kg: Quantity
    start_clock_s: float | None = None
    coasting: Coasting = "unknown"
    direction: Direction | None = None
    passes: tuple[PassEdit, ...] = ()
    channels: Mapping[str, str] = field(default_factory=dict)
    notes: str = ""
    recordings: tuple[Recording, ...] = ()
    driver: str = ""
    remarks: str = ""
    tyre_cold_pa: tuple[float | None, ...] = ()
    tyre_hot_pa: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """What a person acknowledged, by name, at a clock time. why: before the first run, or what had changed."""

    clock_s: float
    who: str
    items: tuple[str, ...]
    why: str = ""


@dataclass(frozen=True, slots=True)
class WantedWidth:
    """A wanted half width U95 of SCx [m²]: of the difference setup − baseline, or of each setup's area where both
    are "". source: who says so, such as a plan's name."""

    u95_m2: float
    setup: str = ""
    baseline: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class SpinDown:
    """Driven wheels on stands, driveline as in a coast-down, left to run down: tells T0 and T1."""

    log: LogFile
    channels: Mapping[str, str] = field(default_factory=dict)
    notes: str = ""
    recording: Recording | None = None


@dataclass(frozen=True, slots=True, eq=False)
class AxleLoading:
    """A known mass put over an axle of the standing car: tells that axle's wheel rate.

    bare_s, loaded_s: [from, to] on the log's clock, without and with the mass.
    share: part of the mass's weight that this axle carries.
    """

    axle: Literal["front", "rear"]
    mass_kg: Quantity
    log: LogFile
    bare_s: tuple[float, float]
    loaded_s: tuple[float, float]
    share: Quantity = Quantity(1.0, 0.0)
    channels: Mapping[str, str] = field(default_factory=dict)
    recording: Recording | None = None


@dataclass(frozen=True, slots=True)
class PredictionCase:
    """One predicted case of a setup; part '' is the whole car. None where nothing was predicted.

    u of an area is its standard numerical uncertainty, 0 where nobody stated one. scz_m2: front and rear together,
    only where the total was predicted itself; without front and rear no axle split was predicted.
    """

    setup: str
    front_ride_height_m: float | None = None
    rear_ride_height_m: float | None = None
    yaw_rad: float = 0.0
    speed_mps: float | None = None
    scx_m2: Quantity | None = None
    scz_front_m2: Quantity | None = None
    scz_rear_m2: Quantity | None = None
    part: str = ""
    source: str = ""
    scz_m2: Quantity | None = None

    @property
    def has_split(self) -> bool:
        """Whether both axles were predicted."""
        return self.scz_front_m2 is not None and self.scz_rear_m2 is not None

    @property
    def downforce_m2(self) -> Quantity | None:
        """SCz: the total where it was predicted, else front + rear.

        Errors of one mesh go together in both axles: their u are added as they are, which is never too little.
        """
        if self.scz_m2 is not None:
            return self.scz_m2
        front, rear = self.scz_front_m2, self.scz_rear_m2
        if front is None or rear is None:
            return None
        return Quantity(front.value + rear.value, front.u + rear.u, "predicted")


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """Everything that is known of one test day. signals: as in `LogFile`, for all raw bus logs of the day.

    checklist: what the team looks at before a run, on top of the usual checks.
    """

    name: str
    date: dt.date | None
    car: Car
    weather: tuple[WeatherReading, ...]
    setups: tuple[Setup, ...]
    runs: tuple[Run, ...]
    venue: Venue = Venue()
    timezone: str | None = None
    reference_speed_mps: float = 22.0
    notes: str = ""
    channels: Mapping[str, str] = field(default_factory=dict)
    predictions: tuple[PredictionCase, ...] = ()
    spin_downs: tuple[SpinDown, ...] = ()
    axle_loadings: tuple[AxleLoading, ...] = ()
    findings: tuple[Finding, ...] = ()
    signals: str | None = None
    checklist: tuple[str, ...] = ()
    acknowledged: tuple[Acknowledgement, ...] = ()
    wanted: tuple[WantedWidth, ...] = ()
