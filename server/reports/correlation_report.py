"""The report of a correlation: does CFD hold, in verdicts, figures, doubts and decisions, and what they stand on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from server.analysis.correlated import NORMAL_95, Correlated
from server.analysis.correlation_across_words import across_sentences
from server.analysis.correlation_parts import part_tests
from server.analysis.correlation_parts_words import part_sentence
from server.analysis.correlation_words import VERDICT_WORDS, WRITTEN, off_by, value_text
from server.correlation.notes import standing
from server.correlation.service import CarCorrelation, DayVerdicts
from server.correlation.tables import DecisionNote
from server.correlation.view import (
    about_words,
    across_of,
    car_sentences,
    case_points,
    marks_of,
    note_on,
    quantities_told,
    stands_on,
    trend_points,
)
from server.predictions.tables import PredictionSet
from server.reports.content import Block, Drawn, Report, Section, Signature, Words
from server.reports.parts import CAUTIONS, UsedResult, newest_event, results_table, rows
from server.testday.rounding import rounded

OVER_HEIGHTS = 3  # setups whose downforce is drawn over ride height
MARKS = (
    "Filled circle measured, hollow diamond predicted at the ride heights that the car took. Bars: 95 % intervals, "
    "thick at one u."
)
AS_ABOVE = "Marks as above."
LOW_IN, UNITY_IN = 2.6, 4.2  # three figures to a page; one whose axes have one scale
JUDGED = (
    "Agrees: the whole 95 % interval of S − D lies within the margin. Prediction high or low: it lies wholly on one "
    "side of zero. The data cannot tell: neither. Each verdict is alone in its 95 %: of twenty predictions that are "
    "right, one is called off by chance."
)
Held = Sequence[tuple[DayVerdicts, Correlated]]


@dataclass(frozen=True, slots=True, eq=False)
class CorrelationTold:
    """What the report is made of."""

    car: CarCorrelation
    notes: tuple[DecisionNote, ...]
    sets: tuple[PredictionSet, ...]
    results: tuple[UsedResult, ...]
    head: tuple[int, str]


def correlation_report(told: CorrelationTold) -> Report:
    """The report; the same results, sets and decisions give the same one."""
    car = told.car
    sections = (
        Section("What the measurements say of the predictions", tuple(_answer(car))),
        Section("Verdicts on setups", tuple(_verdicts(car.totals, told.notes, car.margins.total))),
        Section("Verdicts on changes", tuple(_verdicts(car.changes, told.notes, car.margins.change))),
        Section("Figures", tuple(_figures(car))),
        Section("All setups together", tuple(_together(car))),
        Section("By part", tuple(_parts(car))),
        Section("Uncertainty", tuple(_doubts(car))),
        Section("Decisions", tuple(_decisions(told.notes))),
        Section("What the verdicts stand on", (Words(stands_on(car)),) if car.days else ()),
        Section("Cautions", (Words(CAUTIONS),)),
        Section("Where it comes from", tuple(_origin(told))),
        Section("Signature", (Signature(_signature(told)),)),
    )
    days = ", ".join(f"{one.date} {one.day}" for one in told.results) or "no day"
    made_of = f"correlation of {car.asked.car}, event {told.head[0]}, SHA-256 {told.head[1][:16]}…"
    title = f"Correlation, {car.asked.car}" if car.asked.car else "Correlation"
    return Report(title, f"Measured beside predicted: {days}", tuple(one for one in sections if one.blocks), made_of)


def _answer(car: CarCorrelation) -> Iterator[Block]:
    sentence, counts = car_sentences(car)
    yield Words((sentence,), strong=True)
    if counts:
        yield Words((counts,))


def _verdicts(held: Held, notes: Sequence[DecisionNote], margin: float) -> Iterator[Block]:
    if not held:
        return
    lines = [
        (one.setup if one.against is None else f"{one.setup} − {one.against}", WRITTEN[one.quantity].symbol,
         value_text(one, one.measured.value, one.measured.u95), _predicted(one),
         off_by(one) if one.predicted is not None else "", VERDICT_WORDS[one.verdict], _decided(notes, day, one))
        for day, one in held
    ]  # fmt: skip
    columns = ("setup", "quantity", "measured D", "predicted S", "prediction", "verdict", "decided")
    yield rows(columns, lines, (0.9, 1.0, 1.8, 1.8, 1.2, 1.5, 1.0))
    yield Words((f"Value ± U95. Margin ± {100 * margin:g} % of what was measured. {JUDGED}",))


def _predicted(one: Correlated) -> str:
    return "extrapolated" if one.predicted is None else value_text(one, one.predicted, NORMAL_95 * one.predicted_u)


def _decided(notes: Sequence[DecisionNote], day: DayVerdicts, one: Correlated) -> str:
    note = note_on(notes, day, one)
    return f"{note.stance} by {note.who}" if note else ""


def _figures(car: CarCorrelation) -> Iterator[Block]:
    from server.figures.correlation import beside
    from server.figures.correlation_trend import trend
    from server.figures.correlation_unity import unity

    marks, first = marks_of(car), True
    for name in quantities_told(car.totals):
        held = [one for _, one in car.totals if one.quantity == name]
        explained = f"{WRITTEN[name].symbol} of each setup. {MARKS if first else AS_ABOVE}"
        yield Drawn(beside(held, marks, VERDICT_WORDS, False), explained)
        first = False
    changed = [one for _, one in car.changes if one.quantity == "SCx"]
    if changed:
        yield Drawn(beside(changed, marks, VERDICT_WORDS, False), f"SCx of each setup against its baseline. {AS_ABOVE}")
    for name in quantities_told(car.totals)[:1]:
        found = across_of(car, name)
        if found is not None:
            words = f"{WRITTEN[name].symbol}, predicted over measured; dashed line: equal."
            yield Drawn(unity(found, marks, False), words, UNITY_IN)
        points = trend_points(car, name)
        if len({point.day for point in points}) > 1:
            words = f"{WRITTEN[name].symbol}: how far the prediction is off, day by day; margin dashed."
            yield Drawn(trend(points, marks, car.margins.total, False), words, LOW_IN)
    yield from _heights(car)


def _heights(car: CarCorrelation) -> Iterator[Block]:
    from server.figures.correlation_over_heights import over_heights

    marks = marks_of(car)
    shown = 0
    for setup in car.setups:
        drawn = False
        for axle in ("front", "rear"):
            cases = case_points(car, setup, axle)
            at = [one for day in car.days for one in day.visited.get(setup, ()) if one.axle == axle]
            if cases and any(one.ride_height is not None for one in at) and shown < OVER_HEIGHTS:
                drawn = True
                words = f"Setup {setup}, SCz {axle} over ride height: filled where the car was, hollow predicted."
                yield Drawn(over_heights(at, cases, marks[setup], False), words, LOW_IN)
        shown += drawn


def _together(car: CarCorrelation) -> Iterator[Block]:
    for name in quantities_told(car.totals):
        found = across_of(car, name)
        if found is not None:
            yield Words((f"{WRITTEN[name].symbol}: {' '.join(across_sentences(found))}",))


def _parts(car: CarCorrelation) -> Iterator[Block]:
    cases = [one.case for one in car.cases]
    setups = {one.name: one for day in reversed(car.days) for one in day.values.setups}
    told = tuple(part_sentence(one) for one in part_tests([one for _, one in car.changes], cases, setups))
    if told:
        yield Words(told)


def _doubts(car: CarCorrelation) -> Iterator[Block]:
    every = [one for _, one in (*car.totals, *car.changes) if one.predicted is not None]
    if every:
        columns = ("setup", "quantity", "measurement", "mesh, iteration", "between cases", "ride heights", "u_val")
        lines = [
            (one.setup if one.against is None else f"{one.setup} − {one.against}", WRITTEN[one.quantity].symbol,
             *(_u(one, u) for u in (one.measured.u, one.u_num, one.u_fit, one.u_input, one.u_val)))
            for one in every
        ]  # fmt: skip
        yield Words(("What the doubt about each comparison S − D is made of, as standard uncertainties:",))
        yield rows(columns, lines, (0.9, 1.0, 1.2, 1.3, 1.2, 1.1, 1.0))


def _u(one: Correlated, u: float) -> str:
    if not u > 0.0:
        return "none"
    written = WRITTEN[one.quantity]
    text = rounded(written.factor * u, written.factor * one.u_val)[0]
    return f"{text}{' ' + written.difference if written.difference else ''}"


def _decisions(notes: Sequence[DecisionNote]) -> Iterator[Block]:
    lines = [
        (about_words(one.setup, one.quantity, one.against), one.stance, one.text, one.who, f"{one.at:%Y-%m-%d}")
        for one in standing(notes)
    ]
    if lines:
        yield rows(("verdict", "decided", "why", "by", "on"), lines, (1.6, 0.9, 3.4, 1.0, 1.0))
    else:
        yield Words(("Nobody has decided on a verdict yet.",))


def _origin(told: CorrelationTold) -> Iterator[Block]:
    yield Words((newest_event(told.head),))
    if told.results:
        yield results_table(told.results)
    if told.sets:
        lines = [
            (one.name, one.recipe, one.author, f"{one.cases}", f"{one.file_name}, SHA-256 {one.file_sha256}")
            for one in told.sets
        ]
        yield rows(("predictions", "recipe", "by", "cases", "table"), lines, (1.6, 1.4, 0.9, 0.7, 3.6))


def _signature(told: CorrelationTold) -> str:
    open_ones = [one for one in standing(told.notes) if one.stance == "doubted"]
    count = "1 verdict is" if len(open_ones) == 1 else f"{len(open_ones)} verdicts are"
    doubts = f"{count} doubted and not settled." if open_ones else "No verdict is doubted."
    signed = [one for one in told.results if one.signed]
    days = f"{len(signed)} of {len(told.results)} days it stands on are signed off." if told.results else ""
    return f"{doubts} {days}".strip()
