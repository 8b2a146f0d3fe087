"""What a result says in plain sentences, numbers and intervals in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.analysis.result import Comparison, DayResult, Delta, SetupResult
from server.figures.theme import SetupMark, setup_marks
from server.results.load_sentences import Piece, load_changes, made_pieces
from server.results.next_step import QUANTITY, WANTED_U95_M2, next_step, used_coast_downs
from server.results.quantities import p_words, signed
from server.testday.rounding import rounded, with_uncertainty

SIGNIFICANT = 0.05


@dataclass(frozen=True, slots=True)
class SetupSentence:
    """“Setup B: SCx 1.38 ± 0.04 m² from 8 coast-downs; …” in its parts.

    value is empty when there is none, `found` then says why; `made`: what else the setup makes, where loads were
    measured; `step` is what to do next, or that all is well.
    """

    setup: str
    mark: SetupMark
    value: str
    found: str
    step: str
    made: tuple[Piece, ...] = ()

    @property
    def rest(self) -> str:
        """What follows the values."""
        return f"{self.found}; {self.step}." if self.value else f"{self.found} Next: {self.step}."

    @property
    def text(self) -> str:
        """The whole sentence."""
        return f"Setup {self.setup}: " + self.values + self.rest

    @property
    def values(self) -> str:
        """SCx and what else the setup makes; empty when there is none."""
        made = "".join(f"{piece.before}{piece.value}" for piece in self.made)
        return f"SCx {self.value}{made}{self.join}" if self.value else ""

    @property
    def join(self) -> str:
        """Between the values and what they are found from."""
        return ", " if self.made else " "


def shared_step(sentences: Sequence[SetupSentence]) -> str:
    """What to do next when it is the same for several setups that all have an area, to be said once; else ''."""
    steps = {one.step for one in sentences}
    return steps.pop() if len(sentences) > 1 and len(steps) == 1 and all(s.value for s in sentences) else ""


def setup_sentences(result: DayResult, wanted_u95_m2: float = WANTED_U95_M2) -> list[SetupSentence]:
    """One sentence a setup, in the day's order."""
    marks = setup_marks([setup.name for setup in result.setups])
    return [_setup_sentence(result, setup, marks[setup.name], wanted_u95_m2) for setup in result.setups]


def _setup_sentence(result: DayResult, setup: SetupResult, mark: SetupMark, wanted: float) -> SetupSentence:
    n, _, _ = used_coast_downs(setup)
    scx = setup.estimates.get(QUANTITY)
    if scx is None:
        found = f"no drag area can be had. {why_no_area(result, setup)}"
        return SetupSentence(setup.name, mark, "", found, next_step(setup))
    value = with_uncertainty(scx.value, scx.u95, scx.unit)
    found = f"from {n} coast-down{'' if n == 1 else 's'}{_steady_words(setup)}"
    made = made_pieces(setup, result.reference)
    return SetupSentence(setup.name, mark, value, found, next_step(setup, wanted), made)


def _steady_words(setup: SetupResult) -> str:
    """Constant-speed passes that loads were taken from; they tell no drag."""
    n = sum(fit.of.kind == "constant-speed" and bool(fit.loads) for fit in setup.fits)
    return f" and {n} constant-speed pass{'' if n == 1 else 'es'}" if n else ""


def why_no_area(result: DayResult, setup: SetupResult) -> str:
    """The finding that stops this setup, as a sentence."""
    runs = {one.run for one in setup.passes}
    stops = [finding for finding in result.findings if finding.grade == "stop"]
    mine = [f for f in stops if f.run in runs or f.text.startswith(f"Setup {setup.name}")]
    shared = [f for f in stops if f.run is None and not f.text.startswith("Setup ")]
    found = [*mine, *shared]
    return found[0].text if found else "None of its passes could be used."


def comparison_sentences(result: DayResult) -> list[str]:
    """Of each comparison the change of SCx, and that of downforce and balance; whether this day could tell."""
    found = []
    for one in result.comparisons:
        drag = comparison_sentence(one, one.deltas[QUANTITY]) if QUANTITY in one.deltas else ""
        found += [sentence for sentence in (drag, load_changes(result, one)) if sentence]
    return found


def comparison_sentence(comparison: Comparison, delta: Delta) -> str:
    """“B against A: SCx −0.14 ± 0.03 m², a change …”."""
    change = signed(with_uncertainty(delta.value, delta.u95, delta.unit))
    seen = rounded(delta.smallest_seen, delta.smallest_seen)[0] if delta.smallest_seen > 0 else "0"
    head = f"{comparison.setup} against {comparison.baseline}: SCx {change}"
    if delta.p < SIGNIFICANT:
        word = "less" if delta.value < 0 else "more"
        return f"{head} ({p_words(delta.p)}): {word} drag than {comparison.baseline}."
    unseen = f"no change that this day could tell; it would have seen {seen} {delta.unit}"
    return f"{head} ({p_words(delta.p)}): {unseen}."
