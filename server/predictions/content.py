"""What is in a set: every row as it was given, what it became and how, as one JSON file kept under its SHA-256.

The shelf keeps the last few in memory: a file never changes.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from server.archive.events import canonical
from server.archive.raw_files import RawStore
from server.testday.predicted import PredictedRow, TapCase
from server.testday.values import PredictionCase, Quantity

FORMAT = 1
SETS_IN_MEMORY = 64
AREAS = ("scx_m2", "scz_front_m2", "scz_rear_m2", "scz_m2")
PLAIN = ("setup", "front_ride_height_m", "rear_ride_height_m", "yaw_rad", "speed_mps", "part", "source")
TAP = ("setup", "tap", "cp", "u", "front_ride_height_m", "rear_ride_height_m", "yaw_rad", "speed_mps", "source")

_shelf: OrderedDict[str, Content] = OrderedDict()
_lock = Lock()


@dataclass(frozen=True, slots=True)
class Content:
    """A set's rows in the order of its table; said: what a person said of the table as a whole, in sentences."""

    kind: str
    rows: tuple[PredictedRow, ...]
    said: tuple[str, ...] = ()

    @property
    def taken(self) -> tuple[PredictedRow, ...]:
        """The rows that became cases."""
        return tuple(row for row in self.rows if row.taken)

    @property
    def left_out(self) -> tuple[PredictedRow, ...]:
        """The rows that could not be used."""
        return tuple(row for row in self.rows if row.problem)


def write_content(content: Content, file: Path) -> Path:
    """Write it in the one form that it has."""
    rows = [_row(row) for row in content.rows]
    whole = {"format": FORMAT, "kind": content.kind, "said": list(content.said), "rows": rows}
    file.write_text(canonical(whole), encoding="utf-8")
    return file


def read_content(raw: RawStore, sha256: str) -> Content:
    """What a set holds. Raises NotFoundError where its file is not kept."""
    with _lock:
        if sha256 in _shelf:
            _shelf.move_to_end(sha256)
            return _shelf[sha256]
    content = content_of(json.loads(raw.path(sha256).read_text("utf-8")))
    with _lock:
        _shelf[sha256] = content
        while len(_shelf) > SETS_IN_MEMORY:
            _shelf.popitem(last=False)
    return content


def content_of(whole: dict[str, Any]) -> Content:
    """The content that a JSON value stands for."""
    return Content(whole["kind"], tuple(_kept(row) for row in whole["rows"]), tuple(whole["said"]))


def case_json(case: PredictionCase) -> dict[str, Any]:
    """A case as JSON, without what was not predicted."""
    plain = {name: getattr(case, name) for name in PLAIN}
    areas = {name: [area.value, area.u] for name in AREAS if (area := getattr(case, name)) is not None}
    return {name: value for name, value in plain.items() if value not in (None, "")} | areas


def tap_json(tap: TapCase) -> dict[str, Any]:
    """A tap as JSON, without what was not given."""
    return {name: value for name in TAP if (value := getattr(tap, name)) not in (None, "")}


def _row(row: PredictedRow) -> dict[str, Any]:
    made: dict[str, Any] = {"line": row.line, "given": dict(row.given), "words": list(row.words)}
    if row.cells is not None:
        made["cells"] = row.cells
    if row.case is not None:
        made["case"] = case_json(row.case)
    if row.tap is not None:
        made["tap"] = tap_json(row.tap)
    return {**made, "problem": row.problem} if row.problem else made


def _kept(row: dict[str, Any]) -> PredictedRow:
    case, tap = row.get("case"), row.get("tap")
    return PredictedRow(
        row["line"],
        row["given"],
        tuple(row["words"]),
        None if case is None else _case(case),
        None if tap is None else TapCase(**tap),
        row.get("problem", ""),
        row.get("cells"),
    )


def _case(kept: dict[str, Any]) -> PredictionCase:
    areas = {name: Quantity(*kept[name], "predicted") for name in AREAS if name in kept}
    return PredictionCase(**{**{name: kept[name] for name in PLAIN if name in kept}, **areas})
