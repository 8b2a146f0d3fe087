"""What is known of a day before its logs speak: every parameter of the model with a mean and a standard u.

Defaults that no property of the car covers stand here with their reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.pass_data import PassData
from server.analysis.speed_scale import LAG_PRIOR_M, LAG_PRIOR_U_M, SpeedScale
from server.analysis.weather import DayAir
from server.testday.values import Axle, Day, FloatArray, Quantity, Setup, Source, Venue

# Drag area: nothing is assumed but its order of magnitude (m²).
SCX_PRIOR = Quantity(1.3, 4.0, "default")
# Downforce area of an axle where nothing measures it: from a bare car to a large two-element package (m²).
SCZ_AXLE_PRIOR = Quantity(1.5, 1.0, "default")
# Grade of a straight nobody surveyed: an airfield's or a track's straight.
GRADE_PRIOR = Quantity(0.0, 0.004, "default")
# Growth of drag with yaw, per rad²: SCx (1 + k β²); open-wheel cars 0 to 4 (common practice, no source).
YAW_GROWTH = Quantity(2.0, 2.0, "default")
# A pass whose direction nobody knows meets an unknown slope, as a share of the rolling resistance: 0.5 % of 1.8 %.
UNKNOWN_SLOPE_SHARE = 0.3
# Cross wind where nobody read it (m/s, standard deviation about zero).
CROSS_WIND_SD_MPS = 1.2
# Side gusts are weaker than head-on ones: ratio of variances near the ground (common practice, no source).
SIDE_GUST_SHARE = 0.6
# Tyres start colder than they end: extra rolling share at the start of an outing, gone with 300 s.
WARM_UP = Quantity(0.03, 0.05, "default")
WARM_UP_S = 300.0
# Drift of the rolling resistance over the day, share per hour.
DAY_DRIFT_PER_H = Quantity(0.0, 0.05, "default")
# Change of density where no reading stands near in time, share per hour: 1.5 K/h.
AIR_AWAY_PER_H = Quantity(0.0, 0.005, "default")
# Wheel-speed scale (rolling radius) and its growth at the reference speed, where no satellite speed tells.
WHEEL_SCALE = Quantity(0.0, 0.01, "default")
WHEEL_GROWTH = Quantity(0.0, 0.004, "default")
SATELLITE_DELAY_S = Quantity(0.15, 0.10, "default")
# Undulation of grade: scale of its columns; the day's own size of it is found by the fit.
WAVE_SD = 0.0006
SATELLITE_SCALE = Quantity(0.0, 0.0005, "default")


SPEED_NAMES = ("scale0", "scale2", "delay", "wheel_lag")


@dataclass(frozen=True, slots=True)
class Parameter:
    """One constant of the day: its prior mean and u, unit, source and what to call it in a budget."""

    name: str
    label: str
    mean: float
    u: float
    unit: str
    source: Source
    value: float | None = None  # the input's own value and u where the parameter is a deviation
    input_u: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Priors:
    """Parameters in the order of the model's columns, with a look-up by name.

    speed_correlation: (4, 4), of the prior of `SPEED_NAMES`; all other priors are independent.
    """

    parameters: tuple[Parameter, ...]
    speed_correlation: FloatArray

    @property
    def mean(self) -> FloatArray:
        """Prior means, (p,)."""
        return np.array([p.mean for p in self.parameters])

    @property
    def u(self) -> FloatArray:
        """Prior standard uncertainties, (p,)."""
        return np.array([p.u for p in self.parameters])

    def index(self, name: str) -> int:
        """Column of a parameter; raises ValueError where there is none of this name."""
        for i, parameter in enumerate(self.parameters):
            if parameter.name == name:
                return i
        raise ValueError(f"name: no parameter {name!r}")


def build_priors(  # noqa: PLR0917 - the parts of a day
    day: Day,
    setups: Sequence[Setup],
    air: DayAir,
    scale: SpeedScale | None,
    waves: Sequence[str],
    measured: Mapping[tuple[str, str], Quantity] | None = None,
    more: Sequence[Parameter] = (),
) -> Priors:
    """Every shared parameter of the day's model, in column order.

    waves: names of the undulation's parts; measured: (setup, axle) → what is assumed of a downforce area that
    sensors measure; more: further parameters.
    """
    parameters: list[Parameter] = []
    for setup in setups:
        parameters.extend(_setup_parameters(setup, day, measured or {}))
    car = day.car
    c1, t1 = _wider(car.rolling_c1_s_per_m), _wider(car.driveline_drag_n_per_mps)
    parameters += [
        plain("c0", "rolling resistance c0", car.rolling_c0, "–"),
        plain("c1", "rolling resistance c1", c1, "s/m"),
        plain("t0", "driveline drag T0", car.driveline_drag_n, "N"),
        plain("t1", "driveline drag T1", t1, "N s/m"),
        plain("grade", "grade", grade_prior(day.venue), "–"),
        plain("cross", "cross wind", air.cross_excess, "m²/s²"),
        plain("warm", "tyre warm-up", WARM_UP, "–"),
        plain("drift", "rolling drift over the day", DAY_DRIFT_PER_H, "1/h"),
        _deviation("mass_car", "car mass", car.mass_kg, "kg"),
        *(_deviation(f"mass_driver_{k}", "driver mass", mass, "kg") for k, mass in enumerate(driver_masses(day))),
        _inertia("inertia_front", "front axle inertia, rolling radius with it", car.front),
        _inertia("inertia_rear", "rear axle inertia, rolling radius with it", car.rear),
    ]
    for part in air.density_parts:
        given = part.input
        parameters.append(
            Parameter(part.name, part.label, 0.0, part.share, part.unit, given.source, given.value, given.u)
        )
    parameters.append(plain("air_away", "air away from its weather readings", AIR_AWAY_PER_H, "1/h"))
    parameters += _speed_parameters(day, scale)
    parameters += _speedometer_parameters(day)
    for name in waves:
        parameters.append(Parameter(name, "undulation of the straight", 0.0, WAVE_SD, "–", "default"))
    parameters += more
    correlation = np.eye(4)
    if scale is not None:
        sd = np.sqrt(np.diag(scale.covariance))
        correlation = scale.covariance / np.outer(sd, sd)
    return Priors(tuple(parameters), correlation)


def wind_prior(
    passes: Sequence[PassData], air: DayAir, level_u: float, slow_sd: float
) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of the head wind in the 'out' sense at each pass [m/s], (n,) and (n, n).

    A level known to ± level_u plus a slow process (exponential correlation, 15 min), conditioned on the
    anemometer's readings where there are any.
    """
    clock = np.array([p.clock_s for p in passes])
    everything = np.concatenate([clock, air.wind_clock_s])
    lag = np.abs(everything[:, None] - everything[None, :])
    cov = level_u**2 + slow_sd**2 * np.exp(-lag / 900.0)
    cov[np.diag_indices_from(cov)] += 1e-4
    n = len(clock)
    for i, data in enumerate(passes):
        if data.of.direction == 0:  # its wind is against the car, not 'out': it shares nothing with the others
            own = cov[i, i]
            cov[i, :] = cov[:, i] = 0.0
            cov[i, i] = own
    if len(air.wind_clock_s) == 0:
        return np.zeros(n), cov
    gain = np.linalg.solve(cov[n:, n:] + air.head_wind_cov, cov[n:, :n]).T
    return gain @ air.head_wind_mps, cov[:n, :n] - gain @ cov[n:, :n]


def scatter_covariance(passes: Sequence[PassData], sd: float) -> FloatArray:
    """Covariance of each pass's relative scatter of rolling resistance: part its own, part slow (15 min)."""
    clock = np.array([p.clock_s for p in passes])
    lag = np.abs(clock[:, None] - clock[None, :])
    cov = sd**2 * (0.5 * np.eye(len(clock)) + 0.5 * np.exp(-lag / 900.0))
    unknown = np.array([p.of.direction == 0 for p in passes])
    cov[unknown, unknown] += UNKNOWN_SLOPE_SHARE**2
    return np.asarray(cov)


def _setup_parameters(setup: Setup, day: Day, measured: Mapping[tuple[str, str], Quantity]) -> list[Parameter]:
    front = measured.get((setup.name, "front")) or downforce_prior(day, setup, "front")
    rear = measured.get((setup.name, "rear")) or downforce_prior(day, setup, "rear")
    return [
        Parameter(f"scx:{setup.name}", f"SCx {setup.name}", SCX_PRIOR.value, SCX_PRIOR.u, "m²", "default"),
        plain(f"scz_front:{setup.name}", f"SCz front {setup.name}", front, "m²"),
        plain(f"scz_rear:{setup.name}", f"SCz rear {setup.name}", rear, "m²"),
    ]


def downforce_prior(day: Day, setup: Setup, axle: str) -> Quantity:
    """Downforce area of an axle before it is measured: typed, else predicted, else a wide default."""
    typed = setup.scz_front_m2 if axle == "front" else setup.scz_rear_m2
    if typed is not None:
        return typed
    cases = [c for c in day.predictions if c.setup == setup.name and not c.part and abs(c.yaw_rad) < 0.02]
    values = [q for c in cases if (q := c.scz_front_m2 if axle == "front" else c.scz_rear_m2) is not None]
    if not values:
        return SCZ_AXLE_PRIOR
    mean = float(np.mean([q.value for q in values]))
    spread = float(np.std([q.value for q in values]))
    stated = float(np.mean([q.u for q in values]))
    # predictions of downforce are seldom better than 15 % (one u); Weingart 2015 saw up to 18 % off
    return Quantity(mean, float(np.hypot(np.hypot(spread, stated), 0.15 * abs(mean))), "predicted")


def grade_prior(venue: Venue) -> Quantity:
    """Mean grade travelling out: as given, else the slope of the elevation table, else a wide default.

    A table has no place on the map, so it tells the mean over its length, not what a pass meets where; its u
    is what the mean changes between its halves, at least 0.0003.
    """
    if venue.grade is not None:
        return venue.grade
    if len(venue.elevation) < 2:
        return GRADE_PRIOR
    distance, height = np.array(venue.elevation).T
    slope = float(np.polyfit(distance, height, 1)[0])
    middle = float(np.interp(0.5 * (distance[0] + distance[-1]), distance, height))
    halves = 2.0 * (height[-1] - 2.0 * middle + height[0]) / (distance[-1] - distance[0])
    return Quantity(slope, max(0.5 * abs(float(halves)), 0.0003), "typed")


def _speed_parameters(day: Day, scale: SpeedScale | None) -> list[Parameter]:
    radius = day.car.front.tyre_radius_m if day.car.driven == "rear" else day.car.rear.tyre_radius_m
    relative = max(WHEEL_SCALE.u, radius.u / radius.value)
    values = np.array([WHEEL_SCALE.value, WHEEL_GROWTH.value, SATELLITE_DELAY_S.value, LAG_PRIOR_M])
    sd = np.array([relative, WHEEL_GROWTH.u, SATELLITE_DELAY_S.u, LAG_PRIOR_U_M])
    source: Source = "default"
    if scale is not None:
        values, sd, source = scale.mean, np.sqrt(np.diag(scale.covariance)), "measured"
    labels = ("wheel-speed scale", "wheel-speed growth", "satellite delay", "wheel-speed lag")
    units = ("–", "–", "s", "m")
    return [
        *(
            Parameter(name, label, float(mean), float(u), unit, source)
            for name, label, unit, mean, u in zip(SPEED_NAMES, labels, units, values, sd, strict=True)
        ),
        Parameter("satellite", "satellite speed scale", 0.0, SATELLITE_SCALE.u, "–", "default"),
    ]


def _speedometer_parameters(day: Day) -> list[Parameter]:
    """Gain and offset of the speedometer where coast-downs were typed by hand; a day has one speedometer."""
    typed = next((r.typed for run in day.runs for r in run.recordings if r.typed is not None), None)
    if typed is None:
        return []
    return [
        plain("speedometer_gain", "speedometer's scale", typed.gain, "–"),
        plain("speedometer_offset", "speedometer's offset", typed.offset_mps, "m/s"),
    ]


def _wider(stated: Quantity) -> Quantity:
    """A stated linear resistance with its u as known from about ten readings: √(ν/(ν − 2)) = 1.12 for ν = 10.

    The data say next to nothing of it, so a u that is a little too small goes straight into the area.
    """
    return Quantity(stated.value, stated.u * 1.12, stated.source)


def plain(name: str, label: str, quantity: Quantity, unit: str) -> Parameter:
    """The parameter of a quantity as it is stated."""
    u = max(quantity.u, 1e-9 + 1e-6 * abs(quantity.value))
    return Parameter(name, label, quantity.value, u, unit, quantity.source, quantity.value, quantity.u)


def _deviation(name: str, label: str, quantity: Quantity, unit: str) -> Parameter:
    return Parameter(name, label, 0.0, max(quantity.u, 1e-6), unit, quantity.source, quantity.value, quantity.u)


def _inertia(name: str, label: str, axle: Axle) -> Parameter:
    j, r = axle.axle_inertia_kgm2, axle.tyre_radius_m
    relative = float(np.hypot(j.u / j.value, 2.0 * r.u / r.value))
    return Parameter(name, label, 0.0, max(relative, 1e-6), "kg m²", j.source, j.value, j.value * relative)


def driver_masses(day: Day) -> tuple[Quantity, ...]:
    """The day's distinct driver masses; runs that state the same one share its error, others don't."""
    return tuple(dict.fromkeys(run.driver_mass_kg for run in day.runs))
