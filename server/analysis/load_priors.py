"""What is known of suspension and sensors before the logs speak, and the prior of the sensors' zeros."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from server.analysis.axle_spring import PUSHROD_RATIO_DEFAULT, AxleSpring, wheel_rate_rel_u
from server.analysis.day_priors import Parameter, plain
from server.analysis.load_data import (
    AXLE_OF,
    SOURCE_OF,
    STEM,
    UNIT_OF,
    DayLoads,
    StaticReading,
)
from server.analysis.pass_data import PassData
from server.analysis.result import AxleEnd
from server.testday.values import Axle, Car, Day, FloatArray, Quantity, Setup

# Springs and dampers answer a load late: 2 ζ/ω of a body that rides at 2 to 4 Hz (common practice, no source), s.
SUSPENSION_LAG_S = Quantity(0.06, 0.025, "default")
# A wheel's speed stands later on the log than the loads: a counter that counts over 0.1 to 0.2 s is late by half of
# that, one that times teeth by next to nothing (common practice, no source), s. The passes can't tell it: a speed that
# is late looks like a smaller area.
SPEED_LATE_S = Quantity(0.03, 0.04, "default")
# Loaded radius of a tyre grows with speed: at 20 m/s, m (common practice, no source).
TYRE_GROWTH_M = Quantity(0.0003, 0.0004, "default")
# One side stands for the axle: left and right differ by cross wind, springs, anti-roll bar.
HALF_AXLE = Quantity(0.0, 0.02, "default")
HEIGHT_GAIN = Quantity(0.0, 0.005, "default")
# Downforce area of an axle that is measured: nothing is assumed but its order of magnitude (m²).
SCZ_MEASURED = Quantity(1.5, 4.0, "default")
# Relative change of SCz from standing to the reference condition's ride height that a day may hide, and that a curve
# may have once it is seen.
BEND_HIDDEN = 0.10
BEND_SEEN = 0.4
LEAST_BEND_LOAD_N = 150.0
DRIFT_TIME_S = 600.0
LEVEL_M = 0.02  # a zero is arbitrary: as travel at the wheel


def load_parameters(
    day: Day, setups: Sequence[Setup], loads: DayLoads, constant: bool, wheels: bool
) -> list[Parameter]:
    """Every shared parameter that axle loads bring into the day's model.

    constant: constant-speed passes are there; wheels: a wheel's speed is, beside the loads.
    """
    kinds = loads.kinds
    if not kinds:
        return []
    car, found = day.car, []
    lever = float(np.hypot(car.cg_height_m.u / car.cg_height_m.value, car.wheelbase_m.u / car.wheelbase_m.value))
    found.append(
        Parameter(
            "lever",
            "centre of gravity's height over the wheelbase",
            0.0,
            max(lever, 1e-6),
            "m",
            car.cg_height_m.source,
            car.cg_height_m.value,
            car.cg_height_m.value * lever,
        )
    )
    for end in sorted({AXLE_OF[kind] for kind in kinds}):
        found += _axle_parameters(day.car, end, loads)
    if any(SOURCE_OF[kind] == "ride height" for kind in kinds):
        found.append(plain("tyre_growth", "tyres' growth at 20 m/s", TYRE_GROWTH_M, "m"))
    if wheels:
        found.append(plain("speed_late", "wheel speed later than the loads", SPEED_LATE_S, "s"))
    if constant:
        found.append(plain("anti_squat", "anti-squat", car.anti_squat, "–"))
    for setup in setups:
        for end in ("front", "rear"):
            label = f"bend of SCz {end} {setup.name}, standing to reference"
            found.append(Parameter(f"bend_{end}:{setup.name}", label, 0.0, BEND_HIDDEN, "–", "default"))
    return found


def _axle_parameters(car: Car, end: AxleEnd, loads: DayLoads) -> list[Parameter]:
    axle: Axle = getattr(car, end)
    sources = {SOURCE_OF[kind] for kind in loads.kinds if AXLE_OF[kind] == end}
    spring = loads.springs[end]
    found = [plain(f"lag_{end}", f"{end} suspension lag", SUSPENSION_LAG_S, "s")]
    joint = axle.joint_friction_n
    both = Quantity(2.0 * joint.value, max(2.0 * joint.u, 2.0), joint.source)
    found.append(plain(f"joint_{end}", f"{end} joint friction", both, "N"))
    if sources & {"damper", "ride height"} and spring is not None:
        found.append(_relative(f"rate_{end}", f"{end} wheel rate", _rate(axle, spring), "N/m"))
    if "damper" in sources:
        roles = [role for role in car.calibration if role.startswith(f"damper_{end[0]}")]
        if roles:
            gain = max(car.calibration[role].slope_rel_u for role in roles)
            found.append(_deviation(f"damper_gain_{end}", f"{end} damper calibration", gain, "–"))
    if any(c.half for (_, kind), c in loads.channels.items() if AXLE_OF[kind] == end):
        found.append(_deviation(f"half_{end}", f"{end} axle by one side", HALF_AXLE.u, "–"))
    if "ride height" in sources:
        roles = [role for role in car.calibration if role.startswith(f"{STEM['ride height']}_{end[0]}")]
        gain = max((car.calibration[role].slope_rel_u for role in roles), default=HEIGHT_GAIN.u)
        found.append(_deviation(f"height_gain_{end}", f"{end} ride-height sensor", gain, "–"))
        found.append(_relative(f"tyre_rate_{end}", f"{end} tyre rate", axle.tyre_rate_n_per_m, "N/m"))
        found.append(
            plain(f"sensor_x_{end}", f"place of the {end} ride-height sensor", axle.ride_height_sensor_x_m, "m")
        )
    if "push rod" in sources:
        found.append(
            _relative(f"rod_ratio_{end}", f"{end} push-rod ratio", axle.pushrod_ratio or PUSHROD_RATIO_DEFAULT, "–")
        )
    return found


def _rate(axle: Axle, spring: AxleSpring) -> Quantity:
    rate = spring.rate_n_per_m
    given = axle.spring_rate_n_per_m
    return Quantity(rate, rate * wheel_rate_rel_u(axle), given.source if given is not None else "typed")


def _relative(name: str, label: str, quantity: Quantity, unit: str) -> Parameter:
    u = max(quantity.u / abs(quantity.value), 1e-6)
    return Parameter(name, label, 0.0, u, unit, quantity.source, quantity.value, quantity.u)


def _deviation(name: str, label: str, rel_u: float, unit: str) -> Parameter:
    return Parameter(name, label, 0.0, max(rel_u, 1e-6), unit, "default", 1.0, rel_u)


def unit_zero(kind: int) -> float:
    """Scale of a zero's column: 100 N or 1 mm."""
    return 100.0 if UNIT_OF[kind] == "N" else 1e-3


def unit_slope(kind: int) -> float:
    """Scale of a zero's drift within a pass: 1 N/s or 10 µm/s."""
    return 1.0 if UNIT_OF[kind] == "N" else 1e-5


def zero_prior(  # noqa: PLR0917 - the parts of one equation
    passes: Sequence[PassData],
    static: Sequence[StaticReading],
    kind: int,
    car: Car,
    spring: AxleSpring | None,
    drift_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Mean (2n,) and covariance (2n, 2n) of one source's zero at the middle of each pass and of its drift there,
    in units of `unit_zero` and `unit_slope`, given the readings on the standing car.

    Within a run the zero has an arbitrary level and drifts (Matérn 3/2, 600 s, drift_m at the wheel); joints hold
    back up to their friction, alike in all coast-downs of a day and again in all constant-speed passes.
    """
    axle: Axle = getattr(car, AXLE_OF[kind])
    rate = spring.rate_n_per_m if spring is not None else 60_000.0
    scale = rate if UNIT_OF[kind] == "N" else 1.0
    friction = 2.0 * float(np.hypot(axle.joint_friction_n.value, axle.joint_friction_n.u)) * scale / rate
    mine = [reading for reading in static if reading.kind == kind]
    n, m = len(passes), len(mine)
    run = np.array([p.of.run for p in passes] + [r.run for r in mine])
    time = np.array([0.5 * (p.time_s[0] + p.time_s[-1]) for p in passes] + [r.time_s for r in mine])
    manner = np.array([1 if p.of.kind == "coast-down" else 2 for p in passes] + [-1 - k for k in range(m)])
    same_run = run[:, None] == run[None, :]
    lag = time[:, None] - time[None, :]
    a = np.sqrt(3.0) / DRIFT_TIME_S
    decay = (drift_m * scale) ** 2 * np.exp(-a * np.abs(lag)) * same_run
    value = (LEVEL_M * scale) ** 2 * same_run + decay * (1.0 + a * np.abs(lag))
    value += 0.75 * friction**2 * (manner[:, None] == manner[None, :]) + 0.25 * friction**2 * np.eye(n + m)
    slope_value = decay * (-(a**2) * lag)  # Cov(Z'(t), Z(t'))
    slope = decay * a**2 * (1.0 - a * np.abs(lag)) + 1e-12 * scale**2 * np.eye(n + m)
    units = np.concatenate([np.full(n, unit_zero(kind)), np.full(n, unit_slope(kind))])
    prior = np.block([[value[:n, :n], slope_value[:n, :n].T], [slope_value[:n, :n], slope[:n, :n]]])
    if m == 0:
        return np.zeros(2 * n), prior / np.outer(units, units)
    seen = value[n:, n:] + (2e-5 * scale) ** 2 * np.eye(m)
    cross = np.vstack([value[:n, n:], slope_value[:n, n:]])
    gain = np.linalg.solve(seen, cross.T).T
    mean = gain @ np.array([r.value for r in mine])
    return mean / units, (prior - gain @ cross.T) / np.outer(units, units)
