"""The report of a season: what was tested, what stands with its interval, what differs, what is open, who signed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from server.analysis.compared_days import ComparedDays
from server.correlation.open_doubts import Doubt
from server.days.season import SeasonDay
from server.days.season_choice import Season, scope_words
from server.days.season_view import CarStands, StandRow, car_stands, measured_quantities, timeline_points
from server.days.season_words import called, next_action, season_sentence
from server.figures.quantity import quantity_of
from server.figures.season_points import ON_SCREEN
from server.reports.content import Block, Drawn, Report, Section, Signature, Words
from server.reports.parts import CAUTIONS, UsedResult, newest_event, results_table, rows
from server.results.compare_days_choice import Chosen
from server.results.compare_days_view import agreement_sentence, between_sentence, over_days_rows, over_days_sentence

LOW_IN = 2.6  # for each car: three figures to a page
MARKS = "Every day at its date, every setup with its letter, with its 95 % interval, thick at one u."


@dataclass(frozen=True, slots=True, eq=False)
class ComparedCar:
    """A car's setups against one of them over the season's days."""

    chosen: Chosen
    compared: ComparedDays


@dataclass(frozen=True, slots=True, eq=False)
class SeasonTold:
    """What the report is made of."""

    season: Season
    results: tuple[UsedResult, ...]
    compared: tuple[ComparedCar, ...]
    doubts: tuple[Doubt, ...]
    head: tuple[int, str]


def season_report(told: SeasonTold) -> Report:
    """The report; the same results and words give the same one."""
    season = told.season
    stands = car_stands(season.days, season.letters)
    sections = (
        Section("What the season says", tuple(_answer(season, stands))),
        Section("What stands", tuple(_stands(stands))),
        Section("Figures", tuple(_figures(told))),
        Section("Setups against each other", tuple(_compared(told.compared))),
        Section("Days", tuple(_days(told))),
        Section("Uncertainty", tuple(_uncertainty(stands))),
        Section("Open findings", tuple(_findings(season.days))),
        Section("Open doubts about predictions", tuple(_doubts(told.doubts))),
        Section("Cautions", (Words(CAUTIONS),)),
        Section("Where it comes from", tuple(_origin(told))),
        Section("Signature", (Signature(_signature(told)),)),
    )
    scope = " ".join(filter(None, [str(season.scope.year or ""), season.scope.car or ""]))
    first, last = min(one.day for one in season.days), max(one.day for one in season.days)
    under = f"{len(season.days)} test day{'' if len(season.days) == 1 else 's'}, {first} to {last}"
    made_of = f"season {scope or 'of all days'}, event {told.head[0]}, SHA-256 {told.head[1][:16]}…"
    title = f"Season {scope}".strip() if scope else "All seasons"
    return Report(title, under, tuple(one for one in sections if one.blocks), made_of)


def _answer(season: Season, stands: Sequence[CarStands]) -> Iterator[Block]:
    yield Words((season_sentence(season.days, stands, scope_words(season.scope)),), strong=True)
    step = next_action(season.days)
    if step is not None:
        yield Words((step.words,))


def _stands(stands: Sequence[CarStands]) -> Iterator[Block]:
    for car in stands:
        yield Words((f"{car.car or 'Car without a name'}:",))
        lines = [
            (f"{called(row)}: {row.recorded}", *(one.text if one else "not measured" for one in row.cells), _when(row))
            for row in car.rows
        ]
        yield rows(("setup as recorded", *car.quantities, "days"), lines, (2.2, *(1.1 for _ in car.quantities), 1.1))


def _when(row: StandRow) -> str:
    dates = [date for _, date, _ in row.days]
    return dates[0] if len(dates) == 1 else f"{len(dates)}, the newest {dates[0]}"


def _figures(told: SeasonTold) -> Iterator[Block]:
    from server.figures.season import season_timeline

    season = told.season
    for name in measured_quantities(season.days):
        points = timeline_points(season.days, name, season.letters)
        cars = len({one.car for one in points})
        yield Drawn(season_timeline(points, name), f"{ON_SCREEN[name].words}. {MARKS}", LOW_IN * max(1, cars))


def _compared(cars: Sequence[ComparedCar]) -> Iterator[Block]:
    from server.figures.judged_days import judged_days

    for one in cars:
        found = one.compared
        lines = tuple(filter(None, (over_days_sentence(found), agreement_sentence(found), between_sentence(found))))
        yield Words((f"{one.chosen.car or 'Car without a name'}, against {found.baseline}: {lines[0]}", *lines[1:]))
        symbol = quantity_of(found.quantity).symbol
        words = f"{symbol} against {found.baseline}: all days, and each day beneath."
        yield Drawn(judged_days(found, one.chosen.marks), words)
        table = [
            (row.name, row.alone, row.together, row.p_all, row.smallest, row.days, row.verdict)
            for row in over_days_rows(found, one.chosen.marks)
        ]
        columns = ("setup", "± U95 alone", "± U95 with the others", "p", "smallest seen", "days", "verdict")
        yield rows(columns, table, (0.8, 1.5, 1.5, 0.7, 1.1, 1.5, 1.1))


def _days(told: SeasonTold) -> Iterator[Block]:
    signed = {one.day_id: one.signed for one in told.results}
    lines = [
        (day.date, day.name, day.car, day.venue, str(day.runs), ", ".join(day.setups),
         day.no_result.state if day.no_result else "fitted", signed.get(day.id) or "no")
        for day in sorted(told.season.days, key=lambda one: (one.day, one.id))
    ]  # fmt: skip
    columns = ("date", "day", "car", "place", "runs", "setups", "result", "signed off")
    yield rows(columns, lines, (1.2, 2.0, 1.1, 1.2, 0.6, 0.9, 0.9, 1.3))


def _uncertainty(stands: Sequence[CarStands]) -> Iterator[Block]:
    lines = [
        (f"{car.car}, {called(row)}", words, cell.text, cell.detail)
        for car in stands
        for row in car.rows
        for words, cell in zip(car.quantities, row.cells, strict=True)
        if cell
    ]
    if lines:
        yield Words((
            "Over days a value is a mean that lets days differ, by Student's t; what the days have in common (masses, "
            "inertias, assumed resistances) does not average out.",
        ))  # fmt: skip
        yield rows(("setup", "quantity", "value", "what its u is made of"), lines, (1.4, 1.2, 1.3, 4.0))


def _findings(days: Sequence[SeasonDay]) -> Iterator[Block]:
    lines = [(one.grade, f"{day.date} {day.name}", one.text) for day in days for one in day.asking]
    if lines:
        yield rows(("grade", "day", "what was noticed"), lines, (0.6, 1.8, 5.0))
    else:
        yield Words(("No finding asks for a person.",))


def _doubts(doubts: Sequence[Doubt]) -> Iterator[Block]:
    if doubts:
        lines = [(one.about, one.text, one.who, one.since) for one in doubts]
        yield rows(("verdict", "doubt", "by", "since"), lines, (2.0, 3.6, 1.0, 1.0))


def _origin(told: SeasonTold) -> Iterator[Block]:
    yield Words((newest_event(told.head),))
    if told.results:
        yield results_table(told.results)


def _signature(told: SeasonTold) -> str:
    signed = [one for one in told.results if one.signed]
    count = len(told.season.days)
    if not signed:
        return "None of its days is signed off." if count > 1 else "The day is not signed off."
    return f"{len(signed)} of {count} days are signed off: {', '.join(f'{one.day} by {one.signed}' for one in signed)}."
