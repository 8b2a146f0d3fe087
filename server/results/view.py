"""A result laid out for its page: every table and sentence as plain rows."""

from __future__ import annotations

from dataclasses import dataclass

from server.analysis.result import BudgetLine, Comparison, DayResult, IntervalWindow, Pass, PassFit, SetupResult
from server.figures.budget_lines import QUANTITY, budget_lines
from server.figures.fits import KIND_WORDS
from server.figures.quantity import Quantity, quantity_of
from server.figures.theme import SetupMark, setup_marks
from server.results.drift_words import DriftView, drift_view
from server.results.finding_groups import FindingGroup, finding_groups
from server.results.loads_view import LoadsView, loads_view
from server.results.quantities import (
    ESTIMATES,
    NOISE,
    Shown,
    ValueView,
    delta_scale,
    delta_text,
    input_text,
    p_words,
    reference_lines,
    signed,
    smallest_text,
    two_digits,
    value_view,
)
from server.results.sentences import SetupSentence, comparison_sentences, setup_sentences, shared_step
from server.results.summary import drift_as_json
from server.testday.rounding import with_uncertainty
from server.testday.values import Source

NORMAL_95 = 1.959964
MPS_TO_KMH = 3.6
DIRECTION_WORDS = {1: "out", -1: "back", 0: "—"}


@dataclass(frozen=True, slots=True)
class EstimateRow:
    """One quantity over all setups; None where a setup has none."""

    shown: Shown
    values: tuple[ValueView | None, ...]


@dataclass(frozen=True, slots=True)
class PassRow:
    """One stretch of a run."""

    setup: str
    mark: SetupMark
    run: int
    kind: str
    direction: str
    span: str
    speeds: str
    used: bool
    reason: str
    own: str


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One contribution to u of a quantity; share is of the summed squares."""

    input: str
    value: str
    contribution: str
    share: str
    type: str
    source: str


@dataclass(frozen=True, slots=True)
class InputRow:
    """One input of the fit and where it came from; setups says whose it is, empty for all of them."""

    input: str
    value: str
    source: str
    setups: str


@dataclass(frozen=True, slots=True)
class DeltaRow:
    """One difference between setups."""

    setup: SetupMark
    baseline: SetupMark
    words: str
    quantity: str
    source: str
    change: str
    p: str
    smallest: str
    shared: str


@dataclass(frozen=True, slots=True)
class WindowRow:
    """One speed of the interval method."""

    speed: str
    out: str
    back: str
    mean: str
    precision: str
    force: str


@dataclass(frozen=True, slots=True)
class SetupView:
    """One setup's own tables."""

    name: str
    mark: SetupMark
    budget: tuple[BudgetRow, ...]
    windows: tuple[WindowRow, ...]
    interval_text: str
    two_terms: str
    three_terms: str
    apparent: str


@dataclass(frozen=True, slots=True)
class ResultView:
    """Everything the page of a result shows."""

    name: str
    sentences: tuple[SetupSentence, ...]
    shared_step: str
    changes: tuple[str, ...]
    marks: tuple[tuple[str, SetupMark], ...]
    estimates: tuple[EstimateRow, ...]
    passes: tuple[PassRow, ...]
    deltas: tuple[DeltaRow, ...]
    setups: tuple[SetupView, ...]
    budget_of: str
    findings: tuple[FindingGroup, ...]
    asking: int
    reference: tuple[tuple[str, str], ...]
    inputs: tuple[InputRow, ...]
    told: tuple[tuple[str, str], ...]
    made_with: tuple[tuple[str, str], ...]
    options: tuple[tuple[str, str], ...]
    noise: tuple[tuple[Shown, ValueView], ...]
    loads: LoadsView
    drift: DriftView | None
    version: str

    @property
    def has_fits(self) -> bool:
        """Whether any pass was used."""
        return any(row.used and row.kind != KIND_WORDS["zero"] for row in self.passes)


def result_view(result: DayResult, wanted_u95_m2: float, budget_of: str = QUANTITY) -> ResultView:
    """Lay a result out; budget_of: the quantity whose budget is shown."""
    marks = setup_marks([setup.name for setup in result.setups])
    sentences = setup_sentences(result, wanted_u95_m2)
    return ResultView(
        name=result.name,
        sentences=tuple(sentences),
        shared_step=shared_step(sentences),
        changes=tuple(comparison_sentences(result)),
        marks=tuple(marks.items()),
        estimates=_estimate_rows(result),
        passes=tuple(row for setup in result.setups for row in pass_rows(setup, marks[setup.name])),
        deltas=_delta_rows(result, marks),
        setups=tuple(_setup_view(setup, marks[setup.name], budget_of) for setup in result.setups),
        budget_of=quantity_of(budget_of).symbol,
        findings=finding_groups(result.findings),
        asking=sum(finding.grade != "note" for finding in result.findings),
        reference=reference_lines(result.reference),
        inputs=_input_rows(result),
        told=tuple(result.inputs.items()),
        made_with=tuple(result.made_with.items()),
        options=tuple((name.replace("_", " "), f"{value:g}") for name, value in result.options.items()),
        noise=tuple((NOISE.get(name, Shown(name)), value_view(name, value)) for name, value in result.noise.items()),
        loads=loads_view(result),
        drift=drift_view({"drift": [drift_as_json(one) for one in result.drift], "outlook": bool(result.outlook)}),
        version=result.version,
    )


def _estimate_rows(result: DayResult) -> tuple[EstimateRow, ...]:
    found = {name for setup in result.setups for name in setup.estimates}
    names = [name for name in ESTIMATES if name in found] + sorted(found - set(ESTIMATES))
    return tuple(
        EstimateRow(
            ESTIMATES.get(name, Shown(name)),
            tuple(
                value_view(name, setup.estimates[name]) if name in setup.estimates else None for setup in result.setups
            ),
        )
        for name in names
    )


def pass_rows(setup: SetupResult, mark: SetupMark) -> list[PassRow]:
    """The stretches of a setup in order of run and time."""
    own = {id(fit.of): fit for fit in setup.fits}
    keyed = {(fit.of.run, fit.of.start_s): fit for fit in setup.fits}
    ordered = sorted(setup.passes, key=lambda one: (one.run, one.start_s))
    return [_pass_row(one, mark, own.get(id(one)) or keyed.get((one.run, one.start_s))) for one in ordered]


def _pass_row(one: Pass, mark: SetupMark, fit: PassFit | None) -> PassRow:
    inferred = "coasting inferred from the speed alone" if one.used and one.coasting_inferred else ""
    speeds = f"{MPS_TO_KMH * one.high_mps:.0f} → {MPS_TO_KMH * one.low_mps:.0f}"
    return PassRow(
        setup=one.setup,
        mark=mark,
        run=one.run,
        kind=KIND_WORDS[one.kind],
        direction=DIRECTION_WORDS[one.direction],
        span=f"{one.start_s:.1f} – {one.end_s:.1f}",
        speeds="" if one.kind == "zero" else speeds,
        used=one.used,
        reason="; ".join(part for part in (one.reason, inferred) if part),
        own=with_uncertainty(fit.scx, NORMAL_95 * fit.scx_u) if fit and fit.scx_u > 0 else "",
    )


def _input_rows(result: DayResult) -> tuple[InputRow, ...]:
    """The stated inputs of all budgets, each once; defaults first, for they are what to measure next."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for setup in result.setups:
        for line in setup.budget:
            if line.value is not None:
                names = found.setdefault((line.input, _stated(line), line.source), [])
                names += [setup.name] if setup.name not in names else []
    rows = [
        InputRow(*key, "" if len(names) == len(result.setups) else ", ".join(names)) for key, names in found.items()
    ]
    return tuple(sorted(rows, key=lambda row: (row.source != "default", row.input)))


def _stated(line: BudgetLine) -> str:
    if line.value is None:
        return ""
    return input_text(line.value, NORMAL_95 * (line.u or 0.0), line.unit)


def _delta_rows(result: DayResult, marks: dict[str, SetupMark]) -> tuple[DeltaRow, ...]:
    sources = {(s.name, name): one.source for s in result.setups for name, one in s.estimates.items()}
    return tuple(
        _delta_row(one, name, marks, [sources.get((who, name), "measured") for who in (one.setup, one.baseline)])
        for one in result.comparisons
        for name in one.deltas
    )


def _delta_row(one: Comparison, name: str, marks: dict[str, SetupMark], sources: list[Source]) -> DeltaRow:
    """A difference is measured only where both of its values are."""
    shown, delta = ESTIMATES.get(name, Shown(name, unit=one.deltas[name].unit)), one.deltas[name]
    factor, unit = delta_scale(name, delta)
    return DeltaRow(
        setup=marks[one.setup],
        baseline=marks[one.baseline],
        words=f"{one.setup} against {one.baseline}",
        quantity=shown.label,
        source=next((source for source in sources if source != "measured"), ""),
        change=signed(delta_text(name, delta)),
        p=p_words(delta.p).removeprefix("p = ").removeprefix("p "),
        smallest=smallest_text(name, delta),
        shared=two_digits(factor * delta.shared_u, unit) if delta.shared_u > 0 else "none",
    )


def _setup_view(setup: SetupResult, mark: SetupMark, budget_of: str) -> SetupView:
    method, apparent = setup.interval_method, setup.estimates.get("SCx_apparent")
    two, three = (method.scx_two_term, method.scx_three_term) if method else (None, None)
    lines, quantity = budget_lines(setup.budget, budget_of), quantity_of(budget_of)
    total = sum(line.contribution**2 for line in lines)
    return SetupView(
        name=setup.name,
        mark=mark,
        budget=tuple(_budget_row(line, total, quantity) for line in lines),
        windows=tuple(_window_row(window) for window in method.windows) if method else (),
        interval_text=method.text if method else "The interval method cannot be used on these passes.",
        two_terms=value_view("SCx", two).text if two else "",
        three_terms=value_view("SCx", three).text if three else "",
        apparent=value_view("SCx_apparent", apparent).text if apparent else "",
    )


def _budget_row(line: BudgetLine, total: float, quantity: Quantity) -> BudgetRow:
    percent = 100.0 * line.contribution**2 / total if total > 0 else 0.0
    share = f"{percent:.0f} %" if percent >= 0.5 else "< 1 %" if percent > 0 else "0 %"
    contribution = two_digits(quantity.factor * line.contribution, quantity.unit)
    return BudgetRow(line.input, _stated(line), contribution, share, line.type, line.source)


def _window_row(window: IntervalWindow) -> WindowRow:
    def times(values: tuple[float, ...]) -> str:
        return ", ".join(f"{value:.2f}" for value in values)

    return WindowRow(
        speed=f"{MPS_TO_KMH * window.speed_mps:.0f}",
        out=times(window.times_out_s),
        back=times(window.times_back_s),
        mean=f"{window.mean_time_s:.3f}",
        precision="" if window.precision is None else f"{window.precision:.3f}",
        force=f"{window.force_n:.1f}",
    )
