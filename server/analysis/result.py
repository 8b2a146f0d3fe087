"""What a fitted day says: frozen values, filled by `day_fit`, drawn by figures, printed by commands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from server.testday.values import Finding, FloatArray, Source

PassKind = Literal["coast-down", "constant-speed", "zero"]
LoadSource = Literal["damper", "ride height", "push rod"]
AxleEnd = Literal["front", "rear"]
TOO_SLOW = "speed below"  # begins the reason of a stretch that rolled slowly all along: no coast-down that failed


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with standard uncertainty u and a 95 % interval [low95, high95], all in `unit`."""

    value: float
    u: float
    low95: float
    high95: float
    unit: str
    source: Source

    @property
    def u95(self) -> float:
        """Half the width of the 95 % interval."""
        return 0.5 * (self.high95 - self.low95)


@dataclass(frozen=True, slots=True)
class Pass:
    """A stretch of a run, on the run's clock. direction: +1 out, −1 back, 0 unknown.

    `reason` says why a pass is not used (or what is special about a used one); setup is the run's.
    """

    run: int
    setup: str
    kind: PassKind
    direction: int
    start_s: float
    end_s: float
    used: bool
    reason: str = ""
    coasting_inferred: bool = False
    low_mps: float = 0.0
    high_mps: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class AxleLoadFit:
    """One axle's load in one pass by one source, on the run's clock; arrays of shape (n,).

    pressure_pa: ½ρU² with the wind and gusts that the fit found; load_n: aerodynamic load as observed, i.e.
    with zero, inertial transfer and (at constant speed) anti-squat taken off, in N at the axle; what the joints
    held back is still in it;
    fitted_n: SCz of this axle times pressure_pa; friction_n: what the joints held back, as the fit found it;
    sink_m: how far the body has come down over this axle since standing.
    zero_n, zero_u_n: the pass's zero against the standing car (None without a static zero).
    """

    axle: AxleEnd
    source: LoadSource
    time_s: FloatArray
    speed_mps: FloatArray
    pressure_pa: FloatArray
    load_n: FloatArray
    fitted_n: FloatArray
    friction_n: FloatArray
    sink_m: FloatArray
    zero_n: float | None = None
    zero_u_n: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PassFit:
    """What the fit says of one used pass; arrays of shape (n,) on the run's clock.

    scx, scx_u [m²]: this pass alone, everything shared held at the joint estimate.
    speed_mps: observed ground speed, fitted_mps: the model without gusts,
    smoothed_mps: the model with the gusts it found; gust_mps: those gusts (head wind positive);
    resistance_n: observed deceleration times effective mass; model_resistance_n: the model's.
    innovations: standardised one-step prediction errors of the speed channel at innovation_time_s.
    resistance_scatter: this pass's rolling resistance above the day's, as a share; time_closure,
    energy_closure: model over measured, of the time between the end speeds and of the work done.
    loads: axle loads, one entry per axle and source. Of a constant-speed pass scx and scx_u are nan: it
    tells loads only, and resistance and innovations are empty.
    """

    of: Pass
    scx: float
    scx_u: float
    head_wind_mps: float
    time_s: FloatArray
    speed_mps: FloatArray
    fitted_mps: FloatArray
    smoothed_mps: FloatArray
    gust_mps: FloatArray
    resistance_n: FloatArray
    model_resistance_n: FloatArray
    innovation_time_s: FloatArray
    innovations: FloatArray
    resistance_scatter: float = 0.0
    time_closure: float = 1.0
    energy_closure: float = 1.0
    loads: tuple[AxleLoadFit, ...] = ()


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One contribution to u of an estimate: u_in of the input, sensitivity d(estimate)/d(input),
    contribution = |sensitivity| · u_in in the estimate's unit; type A (from the data) or B (stated)."""

    quantity: str
    input: str
    value: float | None
    u: float | None
    unit: str
    sensitivity: float | None
    contribution: float
    type: Literal["A", "B"]
    source: Source


@dataclass(frozen=True, slots=True, eq=False)
class IntervalWindow:
    """One reference speed of the interval method: times [s] both ways, harmonic mean, precision p.

    precision is None where fewer than two pairs of opposite passes cross the window.
    """

    speed_mps: float
    times_out_s: tuple[float, ...]
    times_back_s: tuple[float, ...]
    mean_time_s: float
    precision: float | None
    force_n: float


@dataclass(frozen=True, slots=True, eq=False)
class IntervalMethod:
    """The published speed-interval method: F = f0 + f1 v + f2 v² [N, N s/m, N s²/m²], SI.

    scx_three_term, scx_two_term: 2 f2/ρ with and without f1 [m²], with u; None where it can't be had.
    """

    windows: tuple[IntervalWindow, ...]
    three_term: tuple[float, float, float] | None
    two_term: tuple[float, float] | None
    scx_three_term: Estimate | None
    scx_two_term: Estimate | None
    text: str = ""


@dataclass(frozen=True, slots=True)
class AtSpeed:
    """A setup at a steady speed in still air of the reference density. Loads in N, positive down.

    Heights [m] over the axles, rake [rad] positive nose down; wheel loads are those of one wheel of the
    axle, weight included. Ride heights are None where no static height is given.
    """

    speed_mps: float
    downforce_front_n: Estimate
    downforce_rear_n: Estimate
    downforce_n: Estimate
    wheel_load_front_n: Estimate
    wheel_load_rear_n: Estimate
    sink_front_m: Estimate | None = None
    sink_rear_m: Estimate | None = None
    ride_height_front_m: Estimate | None = None
    ride_height_rear_m: Estimate | None = None
    rake_rad: Estimate | None = None


@dataclass(frozen=True, slots=True)
class VisitedHeight:
    """Downforce area of an axle over a band of ride heights that the passes really visited.

    sink: how far the body had come down [m]; ride_height: over the axle [m], None without a static height;
    seconds: time spent in the band.
    """

    axle: AxleEnd
    sink: Estimate
    scz: Estimate
    seconds: float
    ride_height: Estimate | None = None


@dataclass(frozen=True, slots=True)
class BendTest:
    """Is SCz constant over ride height? statistic: of the constant model's lack of fit; p: share of
    `replicates` simulated days of the constant model with a larger one (parametric bootstrap).

    bent: p below 0.05, so the areas are those of the curve at the reference condition; slope: axle →
    relative change of SCz per metre that the axle sinks [1/m].
    """

    statistic: float
    p: float
    replicates: int
    bent: bool
    slope: Mapping[str, Estimate]


@dataclass(frozen=True, slots=True)
class SourceCheck:
    """Two sources of an axle's load against each other: ratio first over second, and how many joint
    standard uncertainties it is off 1."""

    axle: AxleEnd
    first: LoadSource
    second: LoadSource
    ratio: Estimate
    z: float


@dataclass(frozen=True, slots=True, eq=False)
class SetupResult:
    """One setup's estimates by name (SCx, SCx_apparent, SCz_front, SCz_rear, SCz, balance_front, LD, c0, c1,
    grade, head_wind_out, weight_speed, ride_height_front, ride_height_rear); areas are those at the
    reference condition, ride heights are taken there. What cannot be had is absent and a finding says why.
    """

    name: str
    estimates: Mapping[str, Estimate]
    passes: tuple[Pass, ...]
    fits: tuple[PassFit, ...] = ()
    interval_method: IntervalMethod | None = None
    budget: tuple[BudgetLine, ...] = ()
    sample_scx: FloatArray | None = None
    at_speeds: tuple[AtSpeed, ...] = ()
    visited: tuple[VisitedHeight, ...] = ()
    bend: BendTest | None = None


@dataclass(frozen=True, slots=True)
class Delta:
    """A difference setup − baseline with p of 'no difference' and the smallest that could be seen
    (detected with 80 % probability at the 5 % level)."""

    value: float
    u: float
    low95: float
    high95: float
    p: float
    smallest_seen: float
    unit: str
    shared_u: float = 0.0

    @property
    def u95(self) -> float:
        """Half the width of the 95 % interval."""
        return 0.5 * (self.high95 - self.low95)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Setup against its baseline, from the joint posterior of the day."""

    setup: str
    baseline: str
    deltas: Mapping[str, Delta]


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """One quantity of several setups from the joint posterior: values (k,) in their order, covariance (k, k)."""

    setups: tuple[str, ...]
    unit: str
    values: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True)
class AddedPasses:
    """Coast-downs that a day might still get: so many of a setup out and back."""

    setup: str
    out: int
    back: int


@dataclass(frozen=True, slots=True)
class Outlook:
    """What these passes would bring: `A`, and `B − A`, of SCx → U95 with them over U95 without."""

    added: tuple[AddedPasses, ...]
    shrink: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class BaselineDrift:
    """The baseline's runs, by the clock, against each other: changes of each later run against the first.

    quantity: SCx, SCz, or c0; statistic: χ² of all changes with their joint covariance; p: of so large a one where
    nothing moves; moved: judged at 5 % over all quantities of the day.
    """

    setup: str
    quantity: str
    runs: tuple[int, ...]
    changes: tuple[Estimate, ...]
    statistic: float
    p: float
    moved: bool


@dataclass(frozen=True, slots=True)
class StandTest:
    """A measurement on the standing car that became an input of the fit, against what was entered.

    quantity: 'driveline drag T0', 'driveline drag T1', 'front axle rate at the wheels', …; entered is None where
    nothing was; z: measured less entered over their joint standard uncertainty; text: one sentence.
    """

    quantity: str
    measured: Estimate
    entered: Estimate | None
    z: float | None
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class DayResult:
    """Everything a fit of the day says. reference: speed_mps, density_kgm3, pressure, ride heights…

    joint: quantity → what is told of it in all setups together; empty in results kept before this was told, and so
    are outlook, what more passes would bring, and drift, the baseline's runs against each other. options: of the fit,
    its seed among them; made_with: the versions of the code and the packages that computed it.
    """

    name: str
    reference: Mapping[str, float | str | None]
    setups: tuple[SetupResult, ...]
    comparisons: tuple[Comparison, ...]
    findings: tuple[Finding, ...]
    noise: Mapping[str, Estimate] = field(default_factory=dict)
    inputs: Mapping[str, str] = field(default_factory=dict)
    load_sources: tuple[LoadSource, ...] = ()
    source_checks: tuple[SourceCheck, ...] = ()
    stand_tests: tuple[StandTest, ...] = ()
    version: str = ""
    joint: Mapping[str, Joint] = field(default_factory=dict)
    outlook: tuple[Outlook, ...] = ()
    drift: tuple[BaselineDrift, ...] = ()
    options: Mapping[str, float] = field(default_factory=dict)
    made_with: Mapping[str, str] = field(default_factory=dict)
