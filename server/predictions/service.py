"""Use cases of predictions: which sets a car has, what they predict, keep one, withdraw one, match names to setups."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.archive.events import record
from server.errors import NotFoundError, StillairError
from server.predictions.content import Content, read_content, write_content
from server.predictions.tables import PredictionEnd, PredictionSet, SetupMatch
from server.testday.predicted import TapCase
from server.testday.values import PredictionCase

MOST_NUMBER = 2**63 - 1
ADDED, ENDED, MATCHED = "predictions-added", "predictions-ended", "predictions-matched"


@dataclass(frozen=True, slots=True)
class SetCase:
    """A predicted case and the set that holds it; `case.setup` is the car's own name, `written` that of the set."""

    set_id: int
    set_name: str
    recipe: str
    dated: dt.date | None
    line: int
    written: str
    case: PredictionCase


@dataclass(frozen=True, slots=True)
class SetTap:
    """A predicted tap and the set that holds it, as `SetCase`."""

    set_id: int
    set_name: str
    recipe: str
    dated: dt.date | None
    line: int
    written: str
    tap: TapCase


@dataclass(frozen=True, slots=True)
class SetHead:
    """What is said of a set by who brings it."""

    car: str
    name: str
    recipe: str = ""
    author: str = ""
    dated: dt.date | None = None
    day_id: int | None = None


@dataclass(frozen=True, slots=True)
class TableFile:
    """The table that a set was read from: its name, its bytes, and where the archive has them its SHA-256."""

    name: str
    path: Path
    sha256: str | None = None


def cases_for_car(
    archive: Archive, session: Session, car: str, *, set_id: int | None = None
) -> tuple[SetCase, ...]:
    """Every predicted case of a car's sets that stand, the newest set first; of one set, where it is named.

    Names that a person matched to a setup of the car carry that setup's name; those matched to none are left out.
    """
    matches = matches_of(session, car)
    return tuple(
        SetCase(one.id, one.name, one.recipe, one.dated, row.line, row.case.setup, replace(row.case, setup=own))
        for one in _sets(session, car, "areas", set_id)
        for row in read_content(archive.raw, one.content_sha256).rows
        if row.case is not None and (own := matches.get(row.case.setup, row.case.setup))
    )


def taps_for_car(archive: Archive, session: Session, car: str, *, set_id: int | None = None) -> tuple[SetTap, ...]:
    """The same of predicted pressure taps."""
    matches = matches_of(session, car)
    return tuple(
        SetTap(one.id, one.name, one.recipe, one.dated, row.line, row.tap.setup, replace(row.tap, setup=own))
        for one in _sets(session, car, "taps", set_id)
        for row in read_content(archive.raw, one.content_sha256).rows
        if row.tap is not None and (own := matches.get(row.tap.setup, row.tap.setup))
    )


def _sets(session: Session, car: str, kind: str, set_id: int | None) -> list[PredictionSet]:
    if set_id is not None:
        one = find_set(session, set_id)
        return [one] if (one.car, one.kind) == (car, kind) else []
    ended = set(session.scalars(select(PredictionEnd.set_id)))
    return [one for one in list_sets(session, car) if one.kind == kind and one.id not in ended]


def list_sets(session: Session, car: str | None = None) -> list[PredictionSet]:
    """All sets, of one car where it is named, the newest first; those that ended among them."""
    chosen = select(PredictionSet).order_by(PredictionSet.id.desc())
    return list(session.scalars(chosen if car is None else chosen.where(PredictionSet.car == car)))


def find_set(session: Session, set_id: int) -> PredictionSet:
    """The set. Raises NotFoundError."""
    found = session.get(PredictionSet, set_id) if 0 < set_id <= MOST_NUMBER else None
    if found is None:
        raise NotFoundError(f"There is no set of predictions number {set_id}.")
    return found


def end_of(session: Session, set_id: int) -> PredictionEnd | None:
    """How a set ended; None for one that stands."""
    return session.get(PredictionEnd, set_id)


def matches_of(session: Session, car: str) -> dict[str, str]:
    """Name in predictions → setup of the car, empty for none of them, as people said."""
    return {one.written: one.setup for one in session.scalars(select(SetupMatch).where(SetupMatch.car == car))}


def keep_set(
    archive: Archive, session: Session, head: SetHead, table: TableFile, content: Content, *,
    who: str, revises: int | None = None, reason: str = "",
) -> PredictionSet:  # fmt: skip
    """Keep a set with its table, byte for byte, and its cases; one that it revises stands no more."""
    if not content.taken:
        raise StillairError("No row of the table can be used, so that there is nothing to keep.")
    file = archive.raw.add(session, table.path, table.sha256)
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        kept = archive.raw.add(session, write_content(content, Path(scratch) / "content.json"))
    made = PredictionSet(
        car=head.car, kind=content.kind, name=head.name, recipe=head.recipe, author=head.author, dated=head.dated,
        file_name=table.name, file_sha256=file.sha256, content_sha256=kept.sha256, day_id=head.day_id,
        cases=len(content.taken), left_out=len(content.left_out), who=who,
    )  # fmt: skip
    session.add(made)
    session.flush()
    after = {"row": told_row(made)}
    record(session, who=who, kind=ADDED, day_id=head.day_id, subject=made.name, after=after, reason=reason)
    if revises is not None:
        _end(session, find_set(session, revises), "revised", who=who, reason=reason, next_id=made.id)
    return made


def told_row(row: PredictionSet | PredictionEnd) -> dict[str, Any]:
    """A row as its event tells it."""
    values = {column.key: getattr(row, column.key) for column in row.__table__.columns}
    return {name: value.isoformat() if isinstance(value, dt.date) else value for name, value in values.items()}


def withdraw_set(session: Session, set_id: int, *, who: str, reason: str) -> None:
    """A set stands no more, for a reason; it stays readable. Raises StillairError without one."""
    _end(session, find_set(session, set_id), "withdrawn", who=who, reason=reason)


def _end(
    session: Session, one: PredictionSet, how: str, *, who: str, reason: str, next_id: int | None = None
) -> None:
    if not reason.strip():
        raise StillairError("Say why the set stands no more: whoever finds it later will ask.")
    if (ended := end_of(session, one.id)) is not None:
        raise StillairError(f"This set was {ended.how} already, on {ended.at.date()}, by {ended.who}.")
    end = PredictionEnd(set_id=one.id, how=how, reason=reason.strip(), next_id=next_id, who=who, at=now_utc())
    session.add(end)
    session.flush()
    after = {"row": told_row(end)}
    record(session, who=who, kind=ENDED, day_id=one.day_id, subject=one.name, after=after, reason=reason.strip())


def keep_matches(session: Session, car: str, chosen: Mapping[str, str], *, who: str) -> None:
    """Keep which setup of the car each name means; what is already so leads to nothing."""
    before = {one.written: one for one in session.scalars(select(SetupMatch).where(SetupMatch.car == car))}
    new = {
        written: setup
        for written, setup in chosen.items()
        if (before[written].setup if written in before else written) != setup
    }
    was = {written: before[written].setup for written in new if written in before}
    for written, setup in new.items():
        if written in before:
            before[written].setup, before[written].who, before[written].at = setup, who, now_utc()
        else:
            session.add(SetupMatch(car=car, written=written, setup=setup, who=who))
    if new:
        session.flush()
        after = {"car": car, "setups": new}
        record(session, who=who, kind=MATCHED, subject=f"setups of {car}", before=was or None, after=after)
