"""Use cases of a correlation: which days of a car and which predictions, held against each other."""

from __future__ import annotations

import datetime as dt
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from threading import Lock

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.analysis.correlated import QUANTITIES, Correlated, DayCorrelation, Heights, Margins
from server.analysis.result import DayResult, Joint, VisitedHeight
from server.archive.archive import Archive
from server.correlation.margins import margins_of
from server.days.day_shelf import stored_day
from server.days.facts import briefs_of, newest_revisions
from server.days.service import list_days, revision_files
from server.days.tables import StoredDay
from server.errors import NotFoundError
from server.predictions.service import SetCase, cases_for_car
from server.results.season_days import brief_results
from server.results.service import ResultShelf
from server.results.shared_errors import shared_u
from server.results.tables import FittedResult
from server.testday.values import Day, PredictionCase

KEPT = 64

_kept: OrderedDict[tuple[object, ...], DayVerdicts] = OrderedDict()
_lock = Lock()


@dataclass(frozen=True, slots=True)
class Asked:
    """What an address asks for: a car, days of it (empty: the newest), a set of predictions, a baseline."""

    car: str = ""
    days: tuple[int, ...] = ()
    every_day: bool = False
    set_id: int | None = None
    against: str = ""


@dataclass(frozen=True, slots=True)
class PredictedBy:
    """The set that a setup's prediction is from."""

    set_id: int
    name: str
    recipe: str
    dated: dt.date | None


@dataclass(frozen=True, slots=True)
class DayOption:
    """A day of the car that has a result; chosen: it is held against predictions now."""

    id: int
    name: str
    date: str
    setups: tuple[str, ...]
    chosen: bool


@dataclass(frozen=True, slots=True, eq=False)
class DayVerdicts:
    """A day held against predictions; sources: setup → set; visited: setup → downforce over the heights it was at;
    all_heights: setup → ride heights at the reference condition, also of setups that nobody predicted."""

    day_id: int
    name: str
    day: dt.date
    result_id: int
    sources: Mapping[str, PredictedBy]
    found: DayCorrelation
    joints: Mapping[str, Joint]
    shared_u: Mapping[tuple[str, str], float]
    visited: Mapping[str, tuple[VisitedHeight, ...]]
    values: Day
    measured: tuple[str, ...]
    all_heights: Mapping[str, Heights]


@dataclass(frozen=True, slots=True, eq=False)
class CarCorrelation:
    """All that is held against each other of a car. setups: in the order in which they first came on its days.

    sets: those that stand; cases: of them those that are used.
    """

    asked: Asked
    cars: tuple[str, ...]
    options: tuple[DayOption, ...]
    sets: tuple[PredictedBy, ...]
    cases: tuple[SetCase, ...]
    margins: Margins
    days: tuple[DayVerdicts, ...]
    setups: tuple[str, ...]

    @property
    def totals(self) -> tuple[tuple[DayVerdicts, Correlated], ...]:
        """Each setup's totals, of the day that knows them best."""
        return _best([(day, one) for day in self.days for one in day.found.totals])

    @property
    def changes(self) -> tuple[tuple[DayVerdicts, Correlated], ...]:
        """Each change, of the day that knows it best."""
        return _best([(day, one) for day in self.days for one in day.found.changes])


def correlate_car(archive: Archive, session: Session, shelf: ResultShelf, asked: Asked) -> CarCorrelation:
    """Hold a car's days against its predictions, as asked; without a car, that of the days, else the newest day's."""
    newest = newest_revisions(session)
    briefs = briefs_of(archive, session, newest.values())
    stored = [(day, briefs[newest[day.id]]) for day in list_days(session)]
    cars = tuple(dict.fromkeys(brief.car for _, brief in stored if not brief.problem))
    of_days = [brief.car for day, brief in stored if day.id in asked.days and not brief.problem]
    car = asked.car if asked.car in cars else next(iter((*of_days, *cars)), "")
    cases = cases_for_car(archive, session, car, set_id=None) if cars else ()
    used = _used(cases, asked.set_id)
    results = _newest_results(session)
    mine = [(day, brief) for day, brief in stored if brief.car == car and day.id in results]
    chosen = _chosen(session, [day.id for day, _ in mine], {case.case.setup for case in used}, asked)
    margins = margins_of(session, car)
    days = tuple(
        _verdicts(archive, session, shelf, day, results[day.id], of=_Of(used, margins, asked.against))
        for day, _ in mine
        if day.id in chosen
    )
    options = tuple(
        DayOption(day.id, day.name, _date(day), tuple(one.name for one in brief.setups), day.id in chosen)
        for day, brief in mine
    )
    names = dict.fromkeys(one.name for _, brief in reversed(mine) for one in brief.setups)
    asked = Asked(car, asked.days, asked.every_day, asked.set_id, asked.against)
    return CarCorrelation(asked, cars, options, _sets(cases), used, margins, days, tuple(names))


def check_car(archive: Archive, session: Session, car: str) -> None:
    """Raises NotFoundError where no day is of that car."""
    briefs = briefs_of(archive, session, newest_revisions(session).values()).values()
    if car not in {brief.car for brief in briefs}:
        raise NotFoundError(f"No test day is of a car called {car[:40]!r}.")


@dataclass(frozen=True, slots=True)
class NewestResult:
    """A day's newest result, without its summary."""

    id: int
    revision_id: int
    sha256: str


def _newest_results(session: Session) -> dict[int, NewestResult]:
    newest = select(func.max(FittedResult.id)).group_by(FittedResult.day_id)
    columns = (FittedResult.day_id, FittedResult.id, FittedResult.revision_id, FittedResult.sha256)
    rows = session.execute(select(*columns).where(FittedResult.id.in_(newest)))
    return {day_id: NewestResult(number, revision, sha256) for day_id, number, revision, sha256 in rows}


def _used(cases: Sequence[SetCase], set_id: int | None) -> tuple[SetCase, ...]:
    """The cases of the set, or of each setup those of the newest set that holds its whole car."""
    if set_id is not None:
        return tuple(case for case in cases if case.set_id == set_id)
    newest: dict[str, int] = {}
    for case in cases:
        if not case.case.part:
            newest[case.case.setup] = max(case.set_id, newest.get(case.case.setup, 0))
    return tuple(case for case in cases if case.set_id == newest.get(case.case.setup))


def _chosen(session: Session, there: Sequence[int], predicted: set[str], asked: Asked) -> set[int]:
    """The days that are held against predictions: those that are named, or of each setup the one that knows it best.

    A day that measured downforce knows more than one that did not; among like days the least u of SCx.
    """
    if asked.every_day:
        return set(there)
    named = set(asked.days) & set(there)
    if named:
        return named
    best: dict[str, tuple[tuple[bool, float], int]] = {}
    results = brief_results(session)
    for day_id in there:
        for one in results[day_id].summary["setups"] if day_id in results else ():
            told = one["estimates"]
            if one["setup"] not in predicted or "SCx" not in told:
                continue
            loaded = told.get("SCz", {}).get("source") == "measured"
            rank = (not loaded, float(told["SCx"]["u"]))
            if one["setup"] not in best or rank < best[one["setup"]][0]:
                best[one["setup"]] = (rank, day_id)
    return {day_id for _, day_id in best.values()}


@dataclass(frozen=True, slots=True)
class _Of:
    cases: tuple[SetCase, ...]
    margins: Margins
    against: str


def _verdicts(
    archive: Archive, session: Session, shelf: ResultShelf, stored: StoredDay, row: NewestResult, *, of: _Of
) -> DayVerdicts:
    """A day's verdicts; the last few are kept in memory, for a result and a set never change."""
    used = tuple((case.set_id, case.line, case.case.setup) for case in of.cases)
    key = (stored.id, row.id, used, of.margins, of.against)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    result = shelf.read(row.sha256)
    day = stored_day(archive, revision_files(session, row.revision_id))
    made = _made(stored, row, result, day, of)
    with _lock:
        _kept[key] = made
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return made


def _made(stored: StoredDay, row: NewestResult, result: DayResult, day: Day, of: _Of) -> DayVerdicts:
    from server.analysis.correlation import correlate_day
    from server.analysis.correlation_heights import setup_heights

    names = [one.name for one in result.setups]
    cases = [one for one in of.cases if one.case.setup in names]
    baselines = {name: of.against for name in names if name != of.against} if of.against in names else None
    found = correlate_day(result, day, [labelled(one) for one in cases], of.margins, baselines)
    told = {(one.setup, one.quantity) for one in found.totals}
    setups = {one.name: one for one in result.setups}
    return DayVerdicts(
        day_id=stored.id,
        name=stored.name,
        day=stored.date or stored.added_at.date(),
        result_id=row.id,
        sources={one.case.setup: PredictedBy(one.set_id, one.set_name, one.recipe, one.dated) for one in cases},
        found=found,
        joints=result.joint,
        shared_u={(name, quantity): shared_u(setups[name], quantity) for name, quantity in told},
        visited={one.name: one.visited for one in result.setups},
        values=day,
        measured=tuple(name for name in names if "SCx" in setups[name].estimates),
        all_heights=setup_heights(result, day),
    )


def labelled(one: SetCase) -> PredictionCase:
    """A case with its recipe as its source: cases of one recipe may share numerical errors."""
    return replace(one.case, source=f"{one.set_id} {one.recipe}")


def _sets(cases: Sequence[SetCase]) -> tuple[PredictedBy, ...]:
    found = {one.set_id: PredictedBy(one.set_id, one.set_name, one.recipe, one.dated) for one in cases}
    return tuple(found.values())


def _best(held: Sequence[tuple[DayVerdicts, Correlated]]) -> tuple[tuple[DayVerdicts, Correlated], ...]:
    """Of each setup or change the day that knows it best: all its quantities are of that one day."""
    by_day: dict[tuple[str, str | None], dict[int, list[tuple[DayVerdicts, Correlated]]]] = {}
    for day, one in held:
        by_day.setdefault((one.setup, one.against), {}).setdefault(day.day_id, []).append((day, one))
    chosen = [min(days.values(), key=_rank) for days in by_day.values()]
    every = [pair for told in chosen for pair in told]
    return tuple(sorted(every, key=lambda pair: (pair[1].setup, QUANTITIES.index(pair[1].quantity))))


def _rank(told: Sequence[tuple[DayVerdicts, Correlated]]) -> tuple[int, float]:
    return -len(told), told[0][1].measured.u


def _date(day: StoredDay) -> str:
    return day.date.isoformat() if day.date else "no date"
