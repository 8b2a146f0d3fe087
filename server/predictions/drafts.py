"""A table on its way to become a set: kept as it came, mapped on screen, shown row by row, then kept or let go."""

from __future__ import annotations

import hashlib
import tempfile
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.errors import NotFoundError, StillairError
from server.predictions.asking import choices_of, reading_of, said_words, with_wheelbase
from server.predictions.content import Content
from server.predictions.service import MOST_NUMBER, SetHead, TableFile, find_set, keep_matches, keep_set
from server.predictions.tables import PredictionDraft, PredictionSet, TableMapping
from server.readers.prediction_reading import Reading, lacks, proposed_reading
from server.readers.prediction_rows import predicted_rows
from server.readers.prediction_table import GivenTable, read_table

TABLES_IN_MEMORY = 16
LONGEST = {"name": 80, "recipe": 400, "author": 80, "car": 80}

_shelf: OrderedDict[tuple[str, str], GivenTable] = OrderedDict()
_lock = Lock()


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person says of the set to be kept; matches: name in the table → setup of the car."""

    head: SetHead
    without_bad: bool
    matches: Mapping[str, str]
    reason: str = ""


def read_ahead(name: str, data: bytes) -> GivenTable:
    """Read a table while nobody waits for the database: `begin_draft` and the pages after it find it read.

    Raises LogError for one that is none.
    """
    key = (hashlib.sha256(data).hexdigest(), name)
    with _lock:
        if (found := _shelf.get(key)) is not None:
            return found
    return _shelve(key, read_table(name, data))


def begin_draft(
    archive: Archive, session: Session, car: str, name: str, data: bytes, *, who: str, revises: int | None = None
) -> PredictionDraft:
    """Keep a table as it came. Raises LogError for one that is none, StillairError for a car without a name."""
    read_ahead(name, data)
    if revises is not None:
        car = find_set(session, revises).car
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        file = Path(scratch) / "table"
        file.write_bytes(data)
        kept = archive.raw.add(session, file)
    draft = PredictionDraft(
        car=checked("car", car), file_name=name, sha256=kept.sha256, revises_id=revises, choices={}, who=who
    )
    session.add(draft)
    session.flush()
    return draft


def checked(name: str, text: str) -> str:
    """A text of the set, blanks tidied. Raises StillairError where it is too long, or empty and needed."""
    text = " ".join(text.split())
    if len(text) > LONGEST[name]:
        raise StillairError(f"The {name} has {len(text)} signs; {LONGEST[name]} are taken.")
    if not text and name == "name":
        raise StillairError("Give the set a name, so that it can be told from others.")
    return text


def find_draft(session: Session, draft_id: int) -> PredictionDraft:
    """The draft. Raises NotFoundError."""
    draft = session.get(PredictionDraft, draft_id) if 0 < draft_id <= MOST_NUMBER else None
    if draft is None:
        raise NotFoundError("That table is not being read in any more.")
    return draft


def drafts_of(session: Session, car: str | None = None) -> list[PredictionDraft]:
    """Tables that are not yet sets, the newest first."""
    chosen = select(PredictionDraft).order_by(PredictionDraft.id.desc())
    return list(session.scalars(chosen if car is None else chosen.where(PredictionDraft.car == car)))


def table_of(archive: Archive, sha256: str, name: str) -> GivenTable:
    """The table of a kept file; the last few stay in memory."""
    with _lock:
        if (found := _shelf.get((sha256, name))) is not None:
            return found
    return _shelve((sha256, name), read_table(name, archive.raw.path(sha256).read_bytes()))


def _shelve(key: tuple[str, str], table: GivenTable) -> GivenTable:
    with _lock:
        _shelf[key] = table
        while len(_shelf) > TABLES_IN_MEMORY:
            _shelf.popitem(last=False)
    return table


def first_choices(session: Session, table: GivenTable, wheelbase_m: float | None = None) -> tuple[dict[str, Any], bool]:
    """How the table is proposed to be read, and whether a person read one of its shape before."""
    known = session.get(TableMapping, table.shape)
    if known is not None:
        return dict(known.choices), True
    return choices_of(with_wheelbase(proposed_reading(table), wheelbase_m)), False


def content_of_table(table: GivenTable, reading: Reading) -> Content:
    """Every row, given and become; rows of one case on several meshes put together."""
    rows = predicted_rows(table, reading)
    if reading.has("cells") and reading.kind == "areas":
        from server.analysis.mesh_families import with_families  # statistics, where meshes are

        rows = with_families(rows, reading.conventions.dimensions)
    return Content(reading.kind, rows, said_words(reading))


def keep_choices(session: Session, draft_id: int, choices: Mapping[str, Any]) -> None:
    """Keep what was said so far."""
    find_draft(session, draft_id).choices = dict(choices)


def keep_draft(
    archive: Archive, session: Session, draft: PredictionDraft, wanted: Wanted, *, who: str
) -> PredictionSet:
    """Make the set of a draft: whole, or without its bad rows where a person says so. Raises StillairError."""
    table = table_of(archive, draft.sha256, draft.file_name)
    made = keep_table(
        archive, session, table, draft.choices, wanted,
        file=TableFile(draft.file_name, archive.raw.path(draft.sha256), draft.sha256),
        who=who, revises=draft.revises_id,
    )  # fmt: skip
    session.delete(draft)
    return made


def keep_table(
    archive: Archive, session: Session, table: GivenTable, choices: Mapping[str, Any], wanted: Wanted, *,
    file: TableFile, who: str, revises: int | None,
) -> PredictionSet:  # fmt: skip
    """Read a table as was said, keep the set, and remember how it was read.

    In a writing transaction; `server.predictions.cars.check_matches` was asked before it.
    """
    reading = reading_of(choices, len(table.columns))
    if (missing := next(lacks(table, reading), None)) is not None:
        raise StillairError(missing[1])
    content = content_of_table(table, reading)
    if content.left_out and not wanted.without_bad:
        first, more = content.left_out[0], len(content.left_out) - 1
        raise StillairError(f"{first.problem} {f'So it is with {more} more. ' if more else ''}Nothing was kept.")
    made = keep_set(archive, session, wanted.head, file, content, who=who, revises=revises, reason=wanted.reason)
    keep_matches(session, made.car, wanted.matches, who=who)
    _remember(session, table, choices, who)
    return made


def _remember(session: Session, table: GivenTable, choices: Mapping[str, Any], who: str) -> None:
    """How tables of this shape are read; a name typed for one of them says nothing of the next."""
    kept = {name: value for name, value in choices.items() if name != "setup"}
    known = session.get(TableMapping, table.shape)
    if known is None:
        session.add(TableMapping(shape=table.shape, choices=kept, who=who))
    else:
        known.choices, known.who, known.at = kept, who, now_utc()
