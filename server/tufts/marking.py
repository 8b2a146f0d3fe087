"""Marks set, moved, turned, judged and taken back: each change a row, kept once however often it is sent."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.archive.database import now_utc
from server.errors import StillairError
from server.testday.tufts import CONDITIONS
from server.tufts.keeping import keep
from server.tufts.service import MACHINE, Photo
from server.tufts.tables import TuftMarkRow

MOST_MARKS = 2000
OUTSIDE = "A mark at {x:.0f}, {y:.0f} lies outside the picture, which is {width} by {height} pixels."
TOO_MANY = f"A reading holds {MOST_MARKS} marks at most."
NOT_YOURS = f"“{MACHINE}” is the program's own name; marks of a person need the person's."


@dataclass(frozen=True, slots=True)
class MarkEntry:
    """One change of a mark: its state after it. entry: the change's own name; mark: the mark's."""

    entry: str
    mark: str
    x_px: float
    y_px: float
    direction_rad: float | None = None
    condition: str = ""
    station: str = ""
    by: str = "person"
    removed: bool = False
    detail: dict[str, Any] = field(default_factory=dict)


def keep_marks(
    session: Session, photo: Photo, layer: str, entries: Sequence[MarkEntry], *, who: str, reason: str = "",
    by_program: bool = False,
) -> int:  # fmt: skip
    """Append the entries that are not kept yet, in one event; gives how many were new. Raises StillairError."""
    if layer == MACHINE and not by_program:
        raise StillairError(NOT_YOURS)
    known = set(session.scalars(select(TuftMarkRow.entry).where(TuftMarkRow.photo_id == photo.id)))
    fresh = [one for one in entries if one.entry not in known]
    for one in fresh:
        _check(photo, one)
    numbers = _numbers(session, photo.id, layer)
    if len(set(numbers) | {one.mark for one in fresh}) > MOST_MARKS:
        raise StillairError(TOO_MANY)
    rows = [_row(photo, layer, one, numbers, who) for one in fresh]
    if rows:
        keep(session, rows, day_id=photo.day_id, subject=photo.subject, who=who, reason=reason)
    return len(rows)


def _check(photo: Photo, one: MarkEntry) -> None:
    inside = 0 <= one.x_px <= photo.width_px and 0 <= one.y_px <= photo.height_px
    if not inside:
        size = {"width": photo.width_px, "height": photo.height_px}
        raise StillairError(OUTSIDE.format(x=one.x_px, y=one.y_px, **size))
    if one.condition and one.condition not in CONDITIONS:
        raise StillairError(f"“{one.condition[:40]}” is no condition; one of {', '.join(CONDITIONS)} is.")


def _numbers(session: Session, photo_id: int, layer: str) -> dict[str, int]:
    newest = select(TuftMarkRow.mark, func.max(TuftMarkRow.number)).where(
        TuftMarkRow.photo_id == photo_id, TuftMarkRow.layer == layer
    )
    return {mark: number for mark, number in session.execute(newest.group_by(TuftMarkRow.mark))}  # noqa: C416 - rows are no pairs to dict()


def _row(photo: Photo, layer: str, one: MarkEntry, numbers: dict[str, int], who: str) -> TuftMarkRow:
    numbers[one.mark] = numbers.get(one.mark, 0) + 1
    turned = None if one.direction_rad is None else math.remainder(one.direction_rad, math.tau)
    return TuftMarkRow(
        photo_id=photo.id,
        layer=layer,
        mark=one.mark,
        number=numbers[one.mark],
        entry=one.entry,
        x_px=round(one.x_px, 2),
        y_px=round(one.y_px, 2),
        direction_rad=None if turned is None else round(turned, 5),
        condition=one.condition,
        station=one.station,
        by=one.by,
        removed=one.removed,
        detail=dict(one.detail),
        who=who,
        made_at=now_utc(),
    )
