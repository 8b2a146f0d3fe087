"""A set's cases written as a day folder's predictions.csv, or its taps as a table: what was read can be read again."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from server.predictions.content import Content
from server.testday.folder_write_csv import prediction_rows
from server.testday.predicted import TapCase
from server.testday.quantities import from_si, number_text

TAP_HEADER = (
    *("setup", "tap", "cp", "cp_u", "front_ride_height_mm", "rear_ride_height_mm", "yaw_deg", "speed_mps"),
    "source",
)


def cases_csv(content: Content) -> str:
    """The text of the file."""
    rows: Sequence[Sequence[str]]
    if content.kind == "areas":
        rows = prediction_rows([row.case for row in content.taken if row.case is not None])
    else:
        rows = [TAP_HEADER, *(_tap(row.tap) for row in content.taken if row.tap is not None)]
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def _tap(tap: TapCase) -> list[str]:
    heights = [_number(tap.front_ride_height_m, "mm"), _number(tap.rear_ride_height_m, "mm")]
    about = [*heights, _number(tap.yaw_rad, "deg"), _number(tap.speed_mps, "mps")]
    return [tap.setup, tap.tap, _number(tap.cp, ""), _number(tap.u, ""), *about, tap.source]


def _number(value: float | None, unit: str) -> str:
    return "" if value is None else number_text(from_si(value, unit))
