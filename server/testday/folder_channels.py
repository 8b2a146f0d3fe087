"""The [channels] and [calibration.…] tables of a day folder: which column plays which role."""

from __future__ import annotations

from collections.abc import Mapping

from server.testday import folder_keys as keys
from server.testday.folder_numbers import number, rising_pairs
from server.testday.folder_table import Table, nearest
from server.testday.role_table import ROLE_NAMES
from server.testday.values import Calibration


def read_channels(table: Table | None) -> Mapping[str, str]:
    """Read role = "column"; a role that is not known is noted and kept out."""
    if table is None:
        return {}
    channels = {}
    for role in table.values:
        column = table.text(role)
        if not column:
            table.refuse(role, "is empty; it must name a column of the log.")
        if _is_role(table, role):
            channels[role] = column
    return channels


def read_calibrations(root: Table) -> Mapping[str, Calibration]:
    """Read [calibration.ROLE]: gain and offset, or a table of [raw, value], the unit, the slope's u."""
    outer = root.table("calibration", "[calibration.…]")
    if outer is None:
        return {}
    calibrations = {}
    for role in outer.values:
        outer.get(role)
        table = outer.table(role, f"[calibration.{role}]") if _is_role(outer, role) else None
        if table is not None:
            calibrations[role] = _calibration(table)
    return calibrations


def _calibration(table: Table) -> Calibration:
    gain, offset = number(table, keys.GAIN), number(table, keys.OFFSET)
    pairs = rising_pairs(table, "table", keys.READING, keys.READING)
    gain_u = number(table, keys.GAIN_REL_U)
    if gain is None and offset is None and not pairs and gain_u is None:
        table.refuse("", "gives neither gain, offset nor table.")
    if gain == 0:
        table.refuse("gain", "is 0; a sensor with no gain tells nothing.")
    if pairs and (gain is not None or offset is not None):
        table.note("given-twice", f"{table.place('gain')} is given beside table; the table is used.", "check")
    return Calibration(gain, offset or 0.0, pairs, table.text("unit") or "", gain_u)


def _is_role(table: Table, role: str) -> bool:
    if role in ROLE_NAMES:
        return True
    text = f"{table.place(role)} is not a known channel role and was left out{nearest(role, ROLE_NAMES)}."
    table.note("unknown-key", text, "check")
    return False
