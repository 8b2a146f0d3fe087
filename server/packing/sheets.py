"""The tables of a packed season, for a spreadsheet: results, differences, correlation, events and what people said.

Days are named by their folder, results by their SHA-256, so that another archive gives the same bytes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.analysis.correlated import Correlated
from server.analysis.result import DayResult
from server.archive.archive import Archive
from server.archive.tables import Event
from server.correlation.service import Asked, DayVerdicts, correlate_car
from server.correlation.tables import DecisionNote
from server.days.service import find_revision
from server.days.sign_off import OPENED, SIGNED, sign_off_of
from server.days.tables import DayRevision
from server.figures.table import Cell, Table
from server.packing.choosing import Chosen, PackedDay
from server.predictions.service import end_of
from server.predictions.tables import PredictionSet
from server.results.pass_table import COLUMNS, pass_rows
from server.results.service import ResultShelf, results_of
from server.results.tables import FittedResult

Rows = Iterator[tuple[Cell, ...]]
VALUE = ("value", "u", "low 95 %", "high 95 %", "unit")


@dataclass(frozen=True, slots=True)
class Source:
    """What the tables are made of."""

    archive: Archive
    session: Session
    shelf: ResultShelf
    chosen: Chosen
    events: Sequence[Event]

    def newest(self) -> Iterator[tuple[PackedDay, FittedResult, DayResult]]:
        """Each day's newest result."""
        for day in self.chosen.days:
            for row in results_of(self.session, day.id, 1):
                yield day, row, self.shelf.read(row.sha256)


def sheets(source: Source) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each table."""
    for name, (columns, rows) in TABLES.items():
        yield f"tables/{name}.csv", Table(columns, tuple(rows(source))).to_csv().encode()


def _results(source: Source) -> Rows:
    for day in source.chosen.days:
        rows = results_of(source.session, day.id)
        for row in reversed(rows):
            revision = source.session.get_one(DayRevision, row.revision_id).number
            made = (row.sha256, "yes" if row is rows[0] else "no", revision, row.version, row.made_at.isoformat())
            for setup in source.shelf.read(row.sha256).setups:
                for name, one in setup.estimates.items():
                    yield (day.folder, setup.name, name, *_value(one), one.source, *made)


def _value(one: Any) -> tuple[Cell, ...]:
    return (*(_finite(getattr(one, name)) for name in ("value", "u", "low95", "high95")), one.unit)


def _finite(number: float) -> float | None:
    return float(number) if math.isfinite(number) else None


def _made_with(source: Source) -> Rows:
    for day in source.chosen.days:
        for row in reversed(results_of(source.session, day.id)):
            result = source.shelf.read(row.sha256)
            yield from ((day.folder, row.sha256, name, words) for name, words in result.made_with.items())
            yield from ((day.folder, row.sha256, f"option {name}", value) for name, value in result.options.items())


def _differences(source: Source) -> Rows:
    for day, row, result in source.newest():
        for one in result.comparisons:
            for name, delta in one.deltas.items():
                told = (*_value(delta), _finite(delta.p), _finite(delta.smallest_seen))
                yield (day.folder, one.setup, one.baseline, name, *told, row.sha256)


def _passes(source: Source) -> Rows:
    for day, _, result in source.newest():
        yield from ((day.folder, *(_cell(value) for value in one.values())) for one in pass_rows(result))


def _cell(value: Any) -> Cell:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else value


def _findings(source: Source) -> Rows:
    for day, _, result in source.newest():
        yield from ((day.folder, one.grade, one.code, one.run, one.text) for one in result.findings)


def _correlation(source: Source) -> Rows:
    for car in source.chosen.cars:
        asked = Asked(car, every_day=True)
        found = correlate_car(source.archive, source.session, source.shelf, asked)
        if found.asked.car != car:
            continue
        days = {day.day_id: day for day in found.days}
        for packed in source.chosen.days:
            day = days.get(packed.id)
            if day is not None:
                every = (*day.found.totals, *day.found.changes)
                yield from (_correlated(packed.folder, car, day, one) for one in every)


def _correlated(folder: str, car: str, day: DayVerdicts, one: Correlated) -> tuple[Cell, ...]:
    numbers = (one.measured.value, one.measured.u, one.u_num, one.u_fit, one.u_input, one.u_val)
    told = one.predicted is not None
    errors = (one.E, one.low95, one.high95) if told else (None, None, None)
    place = (folder, car, one.setup, one.against or "", one.quantity)
    return (*place, one.unit, one.verdict, one.predicted, *errors, *numbers, one.margin, day.sources[one.setup].name)


def _decisions(source: Source) -> Rows:
    notes = select(DecisionNote).where(DecisionNote.day_id.in_(source.chosen.ids)).order_by(DecisionNote.id)
    every = list(source.session.scalars(notes))
    gone = {note.supersedes_id for note in every}
    for one in every:
        stands = "no" if one.id in gone else "yes"
        about = (one.car, one.setup, one.quantity, one.against, one.verdict)
        said = (one.stance, one.text, stands, one.who, one.at.isoformat(), one.told)
        yield (source.chosen.folder(one.day_id), *about, *said)


def _signatures(source: Source) -> Rows:
    for event in source.events:
        if event.kind in (SIGNED, OPENED):
            after = json.loads(event.after or "{}")
            signed = (after.get("statement", event.reason), after.get("revision"), after.get("result_sha256", ""))
            yield (source.chosen.folder(event.day_id), event.kind, event.at, event.who, *signed)
    for day in source.chosen.days:
        standing = sign_off_of(source.session, day.id)
        for one in standing.amendments if standing else ():
            yield (day.folder, "amendment", one.at, one.who, f"{one.what} ({one.reason})", None, "")


def _predictions(source: Source) -> Rows:
    for number in source.chosen.sets:
        one, end = source.session.get_one(PredictionSet, number), end_of(source.session, number)
        ended = (end.how, end.reason, end.who, end.at.isoformat()) if end else ("", "", "", "")
        dated = one.dated.isoformat() if one.dated else ""
        about = (one.car, one.kind, one.name, one.recipe, one.author, dated, source.chosen.folder(one.day_id))
        held = (one.file_name, one.file_sha256, one.cases, one.left_out, one.who, one.made_at.isoformat())
        yield (*about, *held, *ended)


def _revisions(source: Source) -> Rows:
    for day in source.chosen.days:
        for one in source.session.scalars(
            select(DayRevision).where(DayRevision.day_id == day.id).order_by(DayRevision.number)
        ):
            found = find_revision(source.session, day.id, one.number)
            yield (day.folder, one.number, one.made_at.isoformat(), one.who, one.what, found.content_sha256)


def _events(source: Source) -> Rows:
    for one in source.events:
        yield (one.at, one.who, one.kind, source.chosen.folder(one.day_id), one.subject, one.reason)


MADE = ("result SHA-256", "newest", "revision", "version", "made at")
TABLES: dict[str, tuple[tuple[str, ...], Callable[[Source], Rows]]] = {
    "results": (("day", "setup", "quantity", *VALUE, "source", *MADE), _results),
    "made with": (("day", "result SHA-256", "of", "version or value"), _made_with),
    "differences": (
        ("day", "setup", "baseline", "quantity", *VALUE, "p", "smallest seen", "result SHA-256"), _differences,
    ),
    "passes": (("day", *COLUMNS.values()), _passes),
    "findings": (("day", "grade", "code", "run", "text"), _findings),
    "correlation": (
        ("day", "car", "setup", "against", "quantity", "unit", "verdict", "predicted S", "E = S − D", "low 95 %",
         "high 95 %", "measured D", "u_D", "u_num", "u_fit", "u_input", "u_val", "margin", "predicted by"),
        _correlation,
    ),
    "decisions": (
        ("day", "car", "setup", "quantity", "against", "verdict", "stance", "text", "stands", "who", "at", "told"),
        _decisions,
    ),
    "signatures": (("day", "what", "at", "who", "words", "revision", "result SHA-256"), _signatures),
    "predictions": (
        ("car", "kind", "name", "recipe", "author", "dated", "of the day", "file", "file SHA-256", "cases", "left out",
         "who", "made at", "ended", "why", "by", "ended at"),
        _predictions,
    ),
    "revisions": (("day", "revision", "made at", "who", "what", "content SHA-256"), _revisions),
    "events": (("at", "who", "kind", "day", "subject", "reason"), _events),
}  # fmt: skip
