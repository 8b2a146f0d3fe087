"""A day's own predictions.csv as a set of its car: kept with the day, and anew when a revision changes it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.events import PROGRAM
from server.archive.jobs import Finish, JobKind
from server.archive.worker import Payload
from server.days.day_shelf import stored_day
from server.days.facts import newest_revisions
from server.days.service import FIT_JOB, REFIT_JOB, find_day, revision_files
from server.days.tables import DayRevision, RevisionFile
from server.errors import StillairError
from server.predictions.content import Content
from server.predictions.service import SetHead, TableFile, end_of, keep_set
from server.predictions.tables import PredictionSet
from server.readers.prediction_table import read_table
from server.testday.folder_predictions import FILE
from server.testday.predicted import PredictedRow
from server.testday.values import Day

CHANGED = "The day's own predictions were changed."
SAID = "From the day's own predictions.csv: areas in m², downforce positive, the whole car."


def keep_day_sets(archive: Archive) -> None:
    """Make the sets that are missing, of all days: of an archive that was filled before there were any."""
    with archive.database.reading() as session:
        missing = _missing(session, newest_revisions(session).values())
    if missing:
        with archive.database.writing() as session:
            for revision_id in _missing(session, missing):
                _keep(archive, session, revision_id)


def keep_set_of_day(archive: Archive, session: Session, day_id: int) -> None:
    """The set of a day as it stands, where it has predictions of its own and they are not a set yet."""
    newest = newest_revisions(session).get(day_id)
    for revision_id in _missing(session, [] if newest is None else [newest]):
        _keep(archive, session, revision_id)


def with_day_sets(kinds: Mapping[str, JobKind]) -> dict[str, JobKind]:
    """The kinds of jobs, those that keep a day or its next revision keeping its set in the same transaction."""
    wrapped = {name: replace(kind, finish=_then_set(kind.finish)) for name, kind in kinds.items() if name in _OF_DAYS}
    return {**kinds, **wrapped}


_OF_DAYS = (FIT_JOB, REFIT_JOB)


def _then_set(finish: Finish) -> Finish:
    def both(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
        day_id = finish(archive, session, payload, outcome)
        if day_id.isascii() and day_id.isdigit():
            keep_set_of_day(archive, session, int(day_id))
        return day_id

    return both


def _missing(session: Session, revisions: Iterable[int]) -> list[int]:
    """Of these revisions, those whose predictions are not yet a set of their day."""
    chosen = (
        select(DayRevision.id, DayRevision.day_id, RevisionFile.sha256)
        .join(RevisionFile, RevisionFile.revision_id == DayRevision.id)
        .where(RevisionFile.path == FILE, DayRevision.id.in_(list(revisions)))
        .order_by(DayRevision.id)
    )
    rows = session.execute(chosen).all()
    sets = session.execute(select(PredictionSet.day_id, PredictionSet.file_sha256))
    known = {(day_id, sha256) for day_id, sha256 in sets}
    return [revision_id for revision_id, day_id, sha256 in rows if (day_id, sha256) not in known]


def _keep(archive: Archive, session: Session, revision_id: int) -> None:
    """A day that can't be read has no set; its page says why."""
    revision = session.get_one(DayRevision, revision_id)
    files = revision_files(session, revision_id)
    try:
        day = stored_day(archive, files)
    except StillairError:
        return
    if not day.predictions:
        return
    stored = find_day(session, revision.day_id)
    earlier = session.scalars(
        select(PredictionSet).where(PredictionSet.day_id == stored.id).order_by(PredictionSet.id.desc())
    ).first()
    stands = earlier is not None and end_of(session, earlier.id) is None
    path = archive.raw.path(files[FILE])
    head = SetHead(day.car.name, f"{FILE} of {stored.name}", dated=stored.date, day_id=stored.id)
    keep_set(
        archive, session, head, TableFile(FILE, path, files[FILE]), content_of_day(day, path.read_bytes()),
        who=PROGRAM, revises=earlier.id if earlier is not None and stands else None, reason=CHANGED if stands else "",
    )  # fmt: skip


def content_of_day(day: Day, data: bytes) -> Content:
    """The day's cases as its own reader has them, each with the cells of its line."""
    rows = tuple(PredictedRow(at, words=("as it stands",), case=case) for at, case in enumerate(day.predictions, 2))
    try:
        table = read_table(FILE, data)
    except StillairError:
        return Content("areas", rows, (SAID,))
    if len(table.rows) == len(rows):
        names = [column.written for column in table.columns]
        pairs = zip(rows, table.rows, strict=True)
        rows = tuple(
            replace(row, line=one.line, given={n: c for n, c in zip(names, one.cells, strict=True) if c})
            for row, one in pairs
        )
    return Content("areas", rows, (SAID,))
