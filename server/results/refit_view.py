"""What became of a season that was fitted again, as its page shows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from server.results.moved_view import MovedRow, rows_between
from server.results.quantities import ESTIMATES
from server.results.refit_job import KeptRefit
from server.results.tables import FittedResult

WORDS = {"kept": "new result", "same": "same to the last digit", "changed": "left", "failed": "failed"}


@dataclass(frozen=True, slots=True)
class RefitLine:
    """A day. rows: what a reader can see moved; hardly: how many values moved by less than a printed digit."""

    day_id: int
    name: str
    revision: int
    state: str
    words: str
    sentence: str
    rows: tuple[MovedRow, ...]
    hardly: int


@dataclass(frozen=True, slots=True)
class RefitView:
    """A season that was fitted again."""

    number: int
    sentence: str
    who: str
    at: str
    version: str
    scope: str
    lines: tuple[RefitLine, ...]


def refit_view(session: Session, kept: KeptRefit) -> RefitView:
    """As its page shows it; what moved comes from the results themselves, which never change."""
    lines = tuple(_line(session, day) for day in kept.days)
    at = f"{kept.at[:16].replace('T', ' ')} UTC"
    return RefitView(kept.number, sentence(lines), kept.who, at, kept.version, kept.scope, lines)


def sentence(lines: tuple[RefitLine, ...]) -> str:
    """How many days, how much moved, what to look at next, in one sentence."""
    moved = [line for line in lines if line.rows]
    failed = [line for line in lines if line.state == "failed"]
    left = [line for line in lines if line.state == "changed"]
    parts = [f"{len(lines)} day{'' if len(lines) == 1 else 's'} fitted again: {_moved_words(moved)}"]
    if left:
        parts.append(f"{len(left)} changed meanwhile and left")
    if failed:
        parts.append(f"{len(failed)} could not be fitted and keep{'s' if len(failed) == 1 else ''} the old result")
    look = f" Look at {'it' if len(failed) == 1 else 'those'} first." if failed else ""
    return f"{'; '.join(parts)}.{look}"


def _moved_words(moved: list[RefitLine]) -> str:
    """The most that a drag area moved, against the interval that it has."""
    if not moved:
        return "nothing moved in any printed digit"
    line, row = max(((line, row) for line in moved for row in line.rows), key=lambda pair: _size(pair[1]))
    words = f"something moved on {len(moved)}"
    if not row.change:
        return words
    return f"{words}, most of all {_small(row.quantity)} of setup {row.setup} on {line.name} ({row.change})"


def _small(words: str) -> str:
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


def _size(row: MovedRow) -> tuple[bool, float]:
    """Drag areas before all else, then by how much of it moved."""
    number = row.change.removesuffix(" %").replace("−", "-").replace(",", "").replace("\u202f", "")
    return row.quantity == ESTIMATES["SCx"].label, abs(float(number)) if number else 0.0


def _line(session: Session, day: dict[str, Any]) -> RefitLine:
    rows: tuple[MovedRow, ...] = ()
    moved = day.get("moved", [])
    if day["state"] == "kept" and day.get("old"):
        old, new = (session.get_one(FittedResult, day[name]) for name in ("old", "result"))
        rows = rows_between(old.summary, new.summary, moved)
    return RefitLine(
        day_id=day["day_id"],
        name=day["name"],
        revision=day["revision"],
        state=day["state"],
        words=WORDS[day["state"]] if day.get("old") or day["state"] != "kept" else "first result",
        sentence=day.get("sentence", ""),
        rows=rows,
        hardly=len(moved) - len(rows) if rows or day.get("old") else 0,
    )
