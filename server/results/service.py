"""Use cases of results: keep one, find a day's latest, read it back whole."""

from __future__ import annotations

from collections import OrderedDict
from pathlib import Path
from threading import Lock
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.analysis.result import DayResult
from server.archive.archive import Archive
from server.errors import NotFoundError
from server.results.codec import result_from_bytes, result_to_bytes
from server.results.tables import FittedResult

Summary = list[dict[str, Any]]
RESULTS_IN_MEMORY = 8


def summarise(result: DayResult) -> Summary:
    """What a list of days shows: each setup's SCx with its interval, and its passes."""
    return [
        {
            "setup": setup.name,
            "passes": sum(one.used and one.kind == "coast-down" for one in setup.passes),
            "scx": {"value": scx.value, "u95": scx.u95, "unit": scx.unit} if scx else None,
        }
        for setup in result.setups
        for scx in [setup.estimates.get("SCx")]
    ]


def write_result(result: DayResult, file: Path) -> None:
    """Write a result whole."""
    file.write_bytes(result_to_bytes(result))


def keep_result(archive: Archive, session: Session, day_id: int, file: Path) -> FittedResult:
    """Keep a written result as the latest of a day; the very same one is kept once."""
    result = result_from_bytes(file.read_bytes())
    raw = archive.raw.add(session, file)
    latest = latest_result(session, day_id)
    if latest is not None and latest.sha256 == raw.sha256:
        return latest
    row = FittedResult(day_id=day_id, sha256=raw.sha256, version=result.version, summary=summarise(result))
    session.add(row)
    session.flush()
    return row


def latest_result(session: Session, day_id: int) -> FittedResult | None:
    """The newest result of a day."""
    newest = select(FittedResult).where(FittedResult.day_id == day_id).order_by(FittedResult.id.desc()).limit(1)
    return session.scalar(newest)


def latest_results(session: Session) -> dict[int, FittedResult]:
    """Day number → its newest result, for all days."""
    newest = select(func.max(FittedResult.id)).group_by(FittedResult.day_id)
    rows = session.scalars(select(FittedResult).where(FittedResult.id.in_(newest)))
    return {row.day_id: row for row in rows}


class ResultShelf:
    """Results read back whole, the last few kept in memory."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._held: OrderedDict[str, DayResult] = OrderedDict()
        self._lock = Lock()

    def of_day(self, session: Session, day_id: int) -> tuple[FittedResult, DayResult]:
        """A day's newest result. Raises NotFoundError when the day has none."""
        row = latest_result(session, day_id)
        if row is None:
            raise NotFoundError(f"Test day number {day_id} has no result yet.")
        return row, self._read(row.sha256)

    def _read(self, sha256: str) -> DayResult:
        with self._lock:
            if sha256 in self._held:
                self._held.move_to_end(sha256)
                return self._held[sha256]
        result = result_from_bytes(self._archive.raw.path(sha256).read_bytes())
        with self._lock:
            self._held[sha256] = result
            while len(self._held) > RESULTS_IN_MEMORY:
                self._held.popitem(last=False)
        return result
