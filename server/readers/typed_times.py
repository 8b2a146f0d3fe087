"""Hand-typed coast-down times as a log: for a team with a speedometer and a stopwatch and no logger.

Two forms of a CSV (comma, semicolon or tab; the unit is in the header's spelling: kmh, mps, mph):

    speed_kmh, seconds, pass, direction          speed_from_kmh, speed_to_kmh, seconds_out, seconds_back
    80, 0.0, 1, out                              80, 70, 6.1, 6.8
    70, 6.1, 1, out                              70, 60, 7.4, 8.2

`pass` and `direction` (out, back) may be left out. Settings may stand before the header, one a line, such as
`seconds_u, 0.3`: seconds_u, speed_u_kmh, speedometer_gain (reading over true speed), speedometer_rel_u,
speedometer_offset_kmh, speedometer_offset_u_kmh (or _mps, _mph).
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from server.errors import LogError
from server.readers.typed_forms import coast_downs, number
from server.readers.typed_head import SPEED_UNITS, TypedTable, take_apart
from server.testday.values import Channel, Quantity, RawLog, TypedTimes

LARGEST_BYTES = 256 * 1024
# One mark: a trained person's start and stop of a stopwatch scatter by 0.1 to 0.2 s (common practice, no source).
SECONDS_U_S = 0.2
# Reading a needle or a jumping digit as it passes a mark (common practice, no source).
SPEED_U_MPS = 0.5 / 3.6
# UN Regulation 39 (ECE R39) lets a speedometer read high, never low: 0 ≤ V1 − V2 ≤ V2/10 + 4 km/h, from memory.
# A gain anywhere between 1.0 and 1.1 is 1.05 ± 0.029; a quarter of the 4 km/h is usual (common practice, no source).
GAIN = Quantity(1.05, 0.03, "default")
OFFSET_MPS = Quantity(1.0 / 3.6, 1.0 / 3.6, "default")
GIVEN_GAIN_U = 0.01
GIVEN_OFFSET_MPS = Quantity(0.0, 0.5 / 3.6, "default")


def is_typed_times(path_or_bytes: Path | str | bytes) -> bool:
    """Whether a file is one of hand-typed times, told by its header."""
    try:
        text = _text(path_or_bytes)
        return text is not None and take_apart("", text) is not None
    except LogError:
        return True


def read_typed_times(path_or_bytes: Path | str | bytes, *, name: str = "") -> RawLog:
    """Read hand-typed times. name: how sentences name the file.

    Raises LogError with one sentence naming the line that cannot be used.
    """
    called = name or ("the typed times" if isinstance(path_or_bytes, bytes) else Path(path_or_bytes).name)
    text = _text(path_or_bytes)
    table = take_apart(called, text) if text is not None else None
    if table is None:
        raise LogError(
            f"{called} is no table of typed times; its header must hold speed_kmh and seconds, or speed_from_kmh, "
            "speed_to_kmh, seconds_out and seconds_back."
        )
    found = coast_downs(table)
    gain, offset = _speedometer(table)
    seconds_u = _setting(table, "seconds_u", (0.001, 5.0))
    rounded = _least_step(table) / math.sqrt(12.0)
    typed = TypedTimes(
        coast_downs=found,
        seconds_u_s=math.hypot(SECONDS_U_S, rounded) if seconds_u is None else seconds_u,
        speed_u_mps=_speed_setting(table, "speed_u", (0.0, 5.0)) or SPEED_U_MPS,
        gain=gain,
        offset_mps=offset,
    )
    time = np.concatenate([one.time_s for one in found])
    speed = np.concatenate([one.speed_mps for one in found])
    ways = [sum(one.direction == way for one in found) for way in ("out", "back", None)]
    unknown = f", {ways[2]} of unknown direction" if ways[2] else ""
    return RawLog(
        file=called,
        channels=(Channel("speedometer", "m/s", time, speed),),
        description=(
            f"{called} was read as hand-typed times: {len(found)} coast-downs with {len(time)} marks, {ways[0]} out, "
            f"{ways[1]} back{unknown}; nobody wrote when each began, so they are laid one after the other."
        ),
        typed=typed,
    )


def _text(path_or_bytes: Path | str | bytes) -> str | None:
    """A small file as text; None where it is too large to have been typed, or no text."""
    if isinstance(path_or_bytes, bytes):
        raw = path_or_bytes
    else:
        try:
            with Path(path_or_bytes).open("rb") as file:
                raw = file.read(LARGEST_BYTES + 1)
        except OSError:
            return None
    if len(raw) > LARGEST_BYTES or b"\0" in raw:
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _speedometer(table: TypedTable) -> tuple[Quantity, Quantity]:
    """Gain and offset [m/s]; where a gain is given, the rest of its error is small."""
    gain = _setting(table, "speedometer_gain", (0.5, 1.5))
    rel_u = _setting(table, "speedometer_rel_u", (0.0, 0.3))
    stated = GAIN if gain is None else Quantity(gain, GIVEN_GAIN_U * gain)
    if rel_u is not None:
        stated = Quantity(stated.value, rel_u * stated.value, stated.source)
    offset = _speed_setting(table, "speedometer_offset", (-10.0, 10.0))
    offset_u = _speed_setting(table, "speedometer_offset_u", (0.0, 10.0))
    base = OFFSET_MPS if gain is None else GIVEN_OFFSET_MPS
    if offset is not None:
        base = Quantity(offset, GIVEN_OFFSET_MPS.u)
    if offset_u is not None:
        base = Quantity(base.value, offset_u, base.source)
    return stated, base


def _setting(table: TypedTable, key: str, within: tuple[float, float], scale: float = 1.0) -> float | None:
    if key not in table.settings:
        return None
    text, line = table.settings[key]
    value = number(table, text.replace(",", "."), line, key) * scale
    if not within[0] <= value <= within[1]:
        raise LogError(f"{table.name}: line {line}: {key} {text} cannot be; it is between {within[0] / scale:g} and "
                       f"{within[1] / scale:g}.")  # fmt: skip
    return value


def _speed_setting(table: TypedTable, stem: str, within: tuple[float, float]) -> float | None:
    """A setting that is a speed [m/s], by the unit that its key ends on."""
    for unit, scale in SPEED_UNITS.items():
        value = _setting(table, f"{stem}_{unit}", within, scale)
        if value is not None:
            return value
    return None


def _least_step(table: TypedTable) -> float:
    """Last place to which seconds were written [s]: 1, 0.1 …"""
    columns = [c for c in table.columns if c.startswith("seconds")]
    cells = [row.cells[c] for row in table.rows for c in columns if row.cells[c]]
    places = max((len(m[1]) for cell in cells if (m := re.search(r"[.,](\d+)$", cell))), default=0)
    return float(10.0**-places)
