"""The report of a test day: the answer, figures, tables, budget, cautions, where it comes from, lines to sign on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from server.analysis.result import DayResult
from server.days.sign_off import SignOff
from server.reports.content import Block, Drawn, Report, Section, Signature, Words
from server.reports.parts import CAUTIONS, rows
from server.results.figure_words import figure_words
from server.results.next_step import WANTED_U95_M2
from server.results.quantities import ESTIMATES
from server.results.sentences import SetupSentence
from server.results.view import ResultView, result_view

FIGURES = ("passes", "forest", "comparisons", "axle-loads", "downforce", "ride-heights", "budget", "two-methods")


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a result comes from: numbers in the archive, hashes, the version of the program."""

    day_name: str
    date: str
    revision: int
    result: int
    result_sha256: str
    made_at: str
    version: str
    files: tuple[tuple[str, str, int], ...]
    head: tuple[int, str]


def day_report(result: DayResult, origin: Origin, signed: SignOff | None) -> Report:
    """The report; the same result, origin and signature give the same report."""
    view = result_view(result, WANTED_U95_M2)
    sections = (
        Section("What the day says", tuple(_answer(view))),
        Section("Setups", tuple(_setups(view))),
        Section("Figures", tuple(_figures(result))),
        Section("Uncertainty", tuple(_budgets(view))),
        Section("The published interval method beside it", tuple(_intervals(view))),
        Section("Passes", tuple(_passes(view))),
        Section("Findings", tuple(_findings(view))),
        Section("Inputs", tuple(_inputs(view))),
        Section("Cautions", (Words(CAUTIONS),)),
        Section("Where it comes from", tuple(_origin(origin))),
        Section("Signature", (Signature(_signature(signed, origin)),)),
    )
    under = f"{origin.date}, revision {origin.revision}, result {origin.result}"
    made_of = f"result {origin.result}, SHA-256 {origin.result_sha256[:16]}…, Stillair {origin.version}"
    return Report(origin.day_name, under, tuple(one for one in sections if one.blocks), made_of)


def _answer(view: ResultView) -> Iterator[Block]:
    yield Words(tuple(_sentence(one) for one in view.sentences) + view.changes, strong=True)
    steps = [f"{one.setup}: {one.step}." for one in view.sentences if one.step]
    if view.shared_step:
        steps = [f"{view.shared_step[:1].upper()}{view.shared_step[1:]}."]
    yield Words(tuple(steps))


def _sentence(one: SetupSentence) -> str:
    if not one.value:
        return f"Setup {one.setup}: {one.rest}."
    more = "".join(f"{piece.before}{piece.value}" for piece in one.made)
    return f"Setup {one.setup}: SCx {one.value}{more}{one.join}{one.found}."


def _setups(view: ResultView) -> Iterator[Block]:
    names = [name for name, _ in view.marks]
    lines = [
        (row.shown.label, *(value.text if value else "none" for value in row.values)) for row in view.estimates
    ]
    yield rows(("quantity", *(f"setup {name}" for name in names)), lines, (2.0, *(1.0 for _ in names)))
    if view.reference:
        yield rows(("reference condition", "value"), view.reference, (2.0, 1.0 * max(1, len(names))))
    changes = [(row.words, row.quantity, row.change, row.p, row.smallest) for row in view.deltas]
    if changes:
        yield rows(("change", "quantity", "value ± U95", "p", "smallest seen"), changes, (2.0, 1.2, 1.4, 0.8, 1.2))


def _figures(result: DayResult) -> Iterator[Block]:
    from server.figures.catalogue import figure_names, find_plot  # draws: not before somebody asks for a report

    there = figure_names(result)
    for name in (one for one in FIGURES if one in there):
        plot = find_plot(name, result)
        if plot is not None:
            yield Drawn(plot.draw(result), figure_words(name))


def _budgets(view: ResultView) -> Iterator[Block]:
    for setup in view.setups:
        lines = [(row.input, row.value, row.contribution, row.share, row.type, row.source) for row in setup.budget]
        if lines:
            yield Words((f"Setup {setup.name}, {ESTIMATES[view.budget_of].label}:",))
            columns = ("input", "value", "adds to u", "share", "type", "source")
            yield rows(columns, lines, (2.2, 1.4, 1.0, 0.6, 0.5, 1.2))


def _intervals(view: ResultView) -> Iterator[Block]:
    lines = [(one.name, one.apparent, one.two_terms, one.three_terms) for one in view.setups if one.windows]
    if lines:
        columns = ("setup", "SCx as coasting sees it, this fit", "interval method, f0 and f2", "f0, f1 and f2")
        yield rows(columns, lines, (0.6, 1.6, 1.6, 1.6))
        yield Words(tuple(f"Setup {one.name}: {one.interval_text}" for one in view.setups if one.interval_text))


def _passes(view: ResultView) -> Iterator[Block]:
    lines = [
        (row.setup, str(row.run), row.kind, row.direction, row.span, row.speeds,
         row.own if row.used else f"turned down: {row.reason}")
        for row in view.passes
    ]  # fmt: skip
    if lines:
        columns = ("setup", "run", "kind", "way", "time", "speed", "SCx alone, or why not")
        yield rows(columns, lines, (0.6, 0.5, 1.1, 0.6, 1.1, 1.1, 2.4))


def _findings(view: ResultView) -> Iterator[Block]:
    lines = [(group.grade, one.text) for group in view.findings for one in group.findings]
    if lines:
        yield rows(("grade", "what was noticed"), lines, (0.5, 6.0))


def _inputs(view: ResultView) -> Iterator[Block]:
    lines = [(row.input, row.value, row.source, row.setups or "all") for row in view.inputs]
    if lines:
        yield rows(("input", "value", "source", "setups"), lines, (2.4, 1.6, 1.4, 1.0))


def _origin(origin: Origin) -> Iterator[Block]:
    yield Words((
        f"Result {origin.result} of revision {origin.revision}, made {origin.made_at} UTC by Stillair "
        f"{origin.version}; SHA-256 {origin.result_sha256}.",
        f"The archive's newest event when the result was made into this report: number {origin.head[0]}, "
        f"SHA-256 {origin.head[1]}. Its chain, and every file below, can be checked with “stillair verify”.",
    ))  # fmt: skip
    lines = [(path, f"{size:,}", sha256) for path, sha256, size in origin.files]
    yield rows(("file", "bytes", "SHA-256"), lines, (1.8, 0.8, 4.2))


def _signature(signed: SignOff | None, origin: Origin) -> str:
    if signed is None:
        return "The day is not signed off."
    same = signed.result == origin.result
    which = "this result" if same else f"result {signed.result}, not this one"
    amended = f" Changed {len(signed.amendments)} times since." if signed.amendments else ""
    return f"{signed.who} signed {which} off on {signed.at[:10]}: “{signed.statement}”{amended}"
