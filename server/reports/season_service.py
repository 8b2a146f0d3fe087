"""The reports of a season and of a correlation, from what the archive holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.orm import Session

from server.analysis.compared_days import ResultOfDay
from server.archive.archive import Archive
from server.archive.events import head
from server.correlation.notes import notes_of
from server.correlation.open_doubts import open_doubts
from server.correlation.service import Asked, correlate_car
from server.days.season import SeasonDay
from server.days.season_choice import Season, choose
from server.days.service import find_day
from server.days.sign_off import sign_off_of
from server.days.tables import DayRevision
from server.errors import StillairError
from server.predictions.service import find_set
from server.reports.content import Report
from server.reports.correlation_report import CorrelationTold, correlation_report
from server.reports.parts import UsedResult
from server.reports.season_report import ComparedCar, SeasonTold, season_report
from server.results.compare_days_choice import Choice, choose_compared, chosen_results
from server.results.next_step import WANTED_U95_M2
from server.results.season_days import season_days
from server.results.service import ResultShelf, latest_result

NO_DAYS = "No test day is of that year and that car, so there is nothing to report."
NO_CAR = "No test day of that car has a result, so there is nothing to report."


def report_of_correlation(archive: Archive, results: ResultShelf, asked: Asked) -> Report:
    """A car held against its predictions, as asked. Raises StillairError where no day of it has a result."""
    with archive.database.reading() as session:
        car = correlate_car(archive, session, results, asked)
        if not car.options or (asked.car and car.asked.car != asked.car):
            raise StillairError(NO_CAR)
        used = {source.set_id for day in car.days for source in day.sources.values()}
        told = CorrelationTold(
            car=car,
            notes=tuple(notes_of(session, car.asked.car)),
            sets=tuple(find_set(session, number) for number in sorted(used)),
            results=_used(session, [day.day_id for day in car.days]),
            head=head(session),
        )
        return correlation_report(told)


def report_of_season(archive: Archive, results: ResultShelf, year: str, car: str | None) -> Report:
    """What was tested and stands, of a year and a car, or of all. Raises StillairError where nothing was tested."""
    with archive.database.reading() as session:
        season = choose(season_days(archive, session), year, car)
        if not season.days:
            raise StillairError(NO_DAYS)
        told = SeasonTold(
            season=season,
            results=_used(session, [day.id for day in reversed(season.days)]),
            compared=tuple(_compared(session, results, season)),
            doubts=open_doubts(session, season.scope.car),
            head=head(session),
        )
    return season_report(told)


def _used(session: Session, days: Sequence[int]) -> tuple[UsedResult, ...]:
    found = []
    for day_id in days:
        day, row, signed = find_day(session, day_id), latest_result(session, day_id), sign_off_of(session, day_id)
        if row is None:
            continue
        who = f"{signed.who}, {signed.at[:10]}" if signed and signed.result == row.id else ""
        revision = session.get_one(DayRevision, row.revision_id).number
        date = day.date.isoformat() if day.date else "no date"
        found.append(UsedResult(day_id, day.name, date, revision, row.id, row.version, row.sha256, who))
    return tuple(found)


def _compared(session: Session, results: ResultShelf, season: Season) -> list[ComparedCar]:
    """Of each car whose days measured two setups or more."""
    cars = dict.fromkeys(one.key.car for day in season.days for one in day.measured)
    found = []
    for car in cars:
        of_car = replace(season, days=[day for day in season.days if any(one.key.car == car for one in day.measured)])
        one = _compared_car(session, results, of_car, car)
        if one is not None:
            found.append(one)
    return found


def _compared_car(session: Session, results: ResultShelf, season: Season, car: str) -> ComparedCar | None:
    from server.analysis.compare_days import compare_days

    chosen = choose_compared(season, car, Choice("", "", (), ()))
    read = [(day, _result_of(session, results, day)) for day in sorted(season.days, key=lambda one: (one.day, one.id))]
    try:
        compared = compare_days(chosen_results(chosen, read), chosen.quantity, chosen.baseline, WANTED_U95_M2)
    except StillairError:
        return None  # one setup alone, or none that can be compared
    return ComparedCar(chosen, compared)


def _result_of(session: Session, results: ResultShelf, day: SeasonDay) -> ResultOfDay:
    return ResultOfDay(day.id, f"{day.date}, {day.name}", results.of_day(session, day.id)[1], {})
