"""One channel in its role: calibrated, in SI, its range looked at; or what must be said first."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from server.testday.calibrating import calibrated
from server.testday.role_table import Role
from server.testday.speed_units import unit_from_positions, unit_from_speed
from server.testday.units import UnitMismatchError, UnknownUnitError, bare_spelling, to_si, unit_of
from server.testday.values import Calibration, Channel, Finding, FloatArray, Signal

_FULL_TURN_READING = 2.0 * math.pi + 0.1


class UnusableError(Exception):
    """A channel that cannot be brought to SI; the message says why and shows the line to add."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A channel for a role. asks: what is unclear about it is asked, not only noted."""

    role: Role
    channel: Channel
    unit: str | None
    asks: bool = False

    def needs_unit(self, calibrations: Mapping[str, Calibration]) -> bool:
        """Whether nothing says what the readings are in."""
        calibration = calibrations.get(self.role.name)
        if calibration is not None and calibration.unit:
            return False
        return self.unit is None or bare_spelling(self.unit) == "1"

    def with_unit(self, unit: str) -> Candidate:
        """The same with a unit."""
        return replace(self, unit=unit)


def to_signal(
    file: str,
    candidate: Candidate,
    calibration: Calibration | None,
    tyre_radius_m: tuple[float | None, float | None],
) -> tuple[Signal, list[Finding]]:
    """Bring a candidate to SI.

    Raises UnusableError where unit or range say that this cannot be done.
    """
    role, channel = candidate.role, candidate.channel
    findings: list[Finding] = []
    values, unit = channel.values, candidate.unit
    try:
        if calibration is not None:
            values, unit = calibrated(values, unit, calibration)
        if unit is None or (bare_spelling(unit) == "1" and role.dimension != "fraction"):
            unit = _unit_by_custom(file, candidate, values, findings)
        si = _in_si(values, unit, candidate, tyre_radius_m)
    except UnknownUnitError:
        raise _unusable(
            file, candidate, "unit-unknown", f"is in '{unit}', which is no unit known here"
        ) from None
    except UnitMismatchError:
        raise _mismatch(file, candidate, unit or "") from None
    time, si = _without_no_fix(file, candidate, si, findings)
    findings += _range_findings(file, candidate, si)
    return Signal(time, si, channel.name), findings


def speed_unit_told(channel: Channel, signals: Mapping[str, Signal]) -> tuple[str, str] | None:
    """Tell the unit of a speed from the log's positions or another speed; also what told it."""
    if "latitude" in signals and "longitude" in signals:
        unit = unit_from_positions(channel.time_s, channel.values, signals["latitude"], signals["longitude"])
        if unit is not None:
            return unit, "the distance between positions"
    for role, signal in signals.items():
        if role in ("gps_speed", "vehicle_speed") or role.startswith("wheel_speed"):
            unit = unit_from_speed(channel.time_s, channel.values, signal)
            if unit is not None:
                return unit, f"'{signal.name}'"
    return None


def _in_si(
    values: FloatArray, unit: str, candidate: Candidate, tyre_radius_m: tuple[float | None, float | None]
) -> FloatArray:
    role = candidate.role
    dimension = unit_of(unit).dimension
    if role.name.startswith("wheel_speed") and dimension == "rotation":
        radius = tyre_radius_m[0 if role.name[-2] == "f" else 1]
        if radius is None:
            raise UnitMismatchError(f"'{unit}' needs the tyre's radius.")
        return np.asarray(to_si(values, unit, "rotation") * radius)
    if role.name in ("latitude", "longitude") and dimension == "time":
        return to_si(values, "arcmin", "angle")
    if role.name == "gear":
        return values
    return to_si(values, unit, role.dimension)


def _unit_by_custom(file: str, candidate: Candidate, values: FloatArray, findings: list[Finding]) -> str:
    """The unit of readings that carry none, where custom or their size leaves one only; else it is asked."""
    role = candidate.role
    size = float(np.quantile(np.abs(values), 0.99)) if len(values) else 0.0
    if role.usual_unit is not None and (role.dimension != "angle" or size <= 360.0):
        return role.usual_unit
    unit = None
    if role.dimension == "fraction" and size <= 150.0:
        unit = "%" if size > 1.5 else "1"
    elif role.name == "heading" and _FULL_TURN_READING < size <= 360.5:
        unit = "deg"
    if unit is None:
        raise _unusable(file, candidate, "unit-missing", f"has no unit (it runs {_span(values)})")
    shown = "a share of 1" if unit == "1" else unit
    text = f"{file}: '{candidate.channel.name}' has no unit; by its size it is in {shown}."
    findings.append(Finding("unit-inferred", "note", text))
    return unit


def _unusable(file: str, candidate: Candidate, code: str, why: str) -> UnusableError:
    role, name = candidate.role, candidate.channel.name
    example = json.dumps(f"{name} [{role.example_unit}]", ensure_ascii=False)
    text = (
        f"{file}: '{name}', taken for {role.spoken}, {why}; say its unit under [channels] in testday.toml, "
        f"for example: {role.name} = {example}."
    )
    return UnusableError(code, text)


def _mismatch(file: str, candidate: Candidate, unit: str) -> UnusableError:
    role, name = candidate.role, candidate.channel.name
    if role.name.startswith("wheel_speed") and unit_of(unit).dimension == "rotation":
        axle = "front" if role.name[-2] == "f" else "rear"
        cure = f"give tyre_radius_m under [car.{axle}] in testday.toml to make it a speed"
    else:
        cure = (
            f"add [calibration.{role.name}] to testday.toml with gain, offset and unit = "
            f'"{role.example_unit}/{unit}", or name another column under [channels]'
        )
    return UnusableError(
        "needs-calibration", f"{file}: '{name}', taken for {role.spoken}, is in {unit}; {cure}."
    )


def _without_no_fix(
    file: str, candidate: Candidate, si: FloatArray, findings: list[Finding]
) -> tuple[FloatArray, FloatArray]:
    """Leave out positions of exactly 0, as receivers write them without a fix."""
    time = candidate.channel.time_s
    zero = si == 0.0
    if (
        candidate.role.name not in ("latitude", "longitude")
        or not zero.any()
        or np.abs(si).max() < 1e-4
        or zero.all()
    ):
        return time, si
    text = (
        f"{file}: {int(zero.sum()):,} samples of '{candidate.channel.name}' are exactly 0 and are left out."
    )
    findings.append(Finding("sentinel", "note", text))
    return time[~zero], si[~zero]


def _range_findings(file: str, candidate: Candidate, si: FloatArray) -> list[Finding]:
    role, name = candidate.role, candidate.channel.name
    count = int(np.count_nonzero((si < role.low) | (si > role.high)))
    if not count:
        return []
    if count > 0.5 * len(si):
        span = _span(candidate.channel.values)
        raise _unusable(
            file, candidate, "out-of-range", f"is implausible in {candidate.unit or 'its unit'} ({span})"
        )
    share = f"{count:,} of {len(si):,} samples of '{name}'"
    text = f"{file}: {share} are implausible for {role.spoken}; they are kept."
    return [Finding("out-of-range", "check", text)]


def _span(values: FloatArray) -> str:
    return f"from {float(values.min()):.4g} to {float(values.max()):.4g}"
