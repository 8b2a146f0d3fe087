"""A calibration applied to raw readings: gain and offset or a table, and the unit that comes of it."""

from __future__ import annotations

import numpy as np

from server.testday.units import bare_spelling, unit_of
from server.testday.values import Calibration, FloatArray


def calibrated(
    values: FloatArray, unit: str | None, calibration: Calibration
) -> tuple[FloatArray, str | None]:
    """Return value = gain · raw + offset, or the table's straight lines, and the unit of it.

    values: raw readings, shape (n,), in `unit`.
    A calibration's unit is that of the value ("mm") or of the gain ("mm/V"); then raw readings in another
    unit of the same kind (mV) are brought to it first. A reading beyond the table's ends goes on along its
    last line. Raises UnknownUnitError.
    """
    out_unit, raw_unit = _units(calibration.unit)
    if raw_unit is not None and unit is not None:
        values = _brought_to(values, unit, raw_unit)
    if calibration.table:
        values = _along(values, np.array(calibration.table))
    else:
        gain = 1.0 if calibration.gain is None else calibration.gain
        values = gain * values + calibration.offset
    return values, out_unit or unit


def _units(spelling: str) -> tuple[str | None, str | None]:
    """The value's unit and, where the spelling is that of a gain, the raw reading's."""
    if not spelling:
        return None, None
    over, _, under = spelling.rpartition("/")
    return (over.strip("() "), under) if "/" in unit_of(spelling).dimension else (spelling, None)


def _brought_to(values: FloatArray, unit: str, wanted: str) -> FloatArray:
    if bare_spelling(unit) == bare_spelling(wanted):
        return values
    has, needs = unit_of(unit), unit_of(wanted)
    return values * (has.scale / needs.scale) if has.dimension == needs.dimension else values


def _along(values: FloatArray, table: FloatArray) -> FloatArray:
    raw, value = table[:, 0], table[:, 1]
    out = np.interp(values, raw, value)
    below, above = values < raw[0], values > raw[-1]
    out[below] = value[0] + (values[below] - raw[0]) * (value[1] - value[0]) / (raw[1] - raw[0])
    out[above] = value[-1] + (values[above] - raw[-1]) * (value[-1] - value[-2]) / (raw[-1] - raw[-2])
    return np.asarray(out)
