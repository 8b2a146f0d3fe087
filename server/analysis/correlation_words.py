"""A correlation in words, with its numbers: what agrees, what is off, what the data cannot tell, and what would."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.analysis.correlated import NORMAL_95, Correlated, DayCorrelation
from server.testday.rounding import DIMENSIONLESS, rounded, with_uncertainty


@dataclass(frozen=True, slots=True)
class Written:
    """How a quantity is written: symbol, factor from SI, unit of a value and of a difference."""

    symbol: str
    factor: float
    unit: str
    difference: str


WRITTEN = {
    "SCx": Written("SCx", 1.0, "m²", "m²"),
    "SCz_front": Written("SCz front", 1.0, "m²", "m²"),
    "SCz_rear": Written("SCz rear", 1.0, "m²", "m²"),
    "SCz": Written("SCz", 1.0, "m²", "m²"),
    "balance_front": Written("balance", 100.0, "% front", "points"),
    "LD": Written("L/D", 1.0, "", ""),
}
WOULD_TELL = {
    "measured": "most of that doubt is the measurement's: more passes would tell",
    "mesh": "most of that doubt is the mesh's: a finer one, or its convergence stated, would tell",
    "cases": "most of that doubt lies between the cases: one at the car's ride heights would tell",
    "ride heights": "most of that doubt is the ride heights': measuring them at speed would tell",
}
VERDICT_WORDS = {
    "agrees": "agrees",
    "prediction-high": "prediction high",
    "prediction-low": "prediction low",
    "cannot-tell": "the data cannot tell",
    "extrapolated": "extrapolated",
}


def sentence(one: Correlated, share: float) -> str:
    """One verdict as a sentence. share: the margin, of the measured value."""
    who = one.setup if one.against is None else f"{one.setup} against {one.against}"
    measured = value_text(one, one.measured.value, one.measured.u95)
    if one.predicted is None:
        symbol = WRITTEN[one.quantity].symbol
        return f"{who}: {symbol} measured {measured}; extrapolated, so no verdict: {one.notes[-1]}."
    predicted = value_text(one, one.predicted, NORMAL_95 * one.predicted_u)
    head = f"{who}: {WRITTEN[one.quantity].symbol} measured {measured}, predicted {predicted}"
    return f"{head}: {_verdict(one, share)}."


def _verdict(one: Correlated, share: float) -> str:
    allowed = f"{100 * share:g} %"
    if one.verdict == "agrees":
        return f"they agree within {allowed}"
    off = off_by(one)
    if one.verdict == "cannot-tell":
        why = WOULD_TELL[one.largest]
        return f"prediction {off}, which the data cannot tell from nothing or from too much ({_doubt(one)}); {why}"
    more = "and surely more than" if one.beyond else "though it may still lie within"
    return f"prediction {off}, more than the data can excuse, {more} the {allowed} allowed"


def off_by(one: Correlated) -> str:
    """`9 % high` of a total, `0.03 m² low` of a change, `1.8 points high` of a balance."""
    side = "high" if one.E > 0 else "low"
    if _in_its_unit(one):
        written = WRITTEN[one.quantity]
        size = rounded(abs(written.factor * one.E), written.factor * NORMAL_95 * one.u_val)[0]
        unit = written.difference
        return f"{size}{' ' + unit if unit else ''} {side}"
    return f"{_percent(abs(one.E / one.measured.value))} {side}"


def _in_its_unit(one: Correlated) -> bool:
    """A share of a change reads as if the whole were off by it; of a balance as if it were a share of a share."""
    return one.against is not None or one.quantity == "balance_front" or one.measured.value == 0.0


def _doubt(one: Correlated) -> str:
    written = WRITTEN[one.quantity]
    if _in_its_unit(one):
        half = written.factor * NORMAL_95 * one.u_val
        text = rounded(half, half)[0]
        return f"± {text}{' ' + written.difference if written.difference else ''}"
    return f"± {_percent(NORMAL_95 * one.u_val / abs(one.measured.value))}"


def _percent(share: float) -> str:
    per_cent = 100.0 * share
    return f"{per_cent:.0f} %" if per_cent >= 9.5 else f"{per_cent:.1f} %"


def value_text(one: Correlated, value: float, u95: float) -> str:
    """A measured or predicted value of a comparison ± U95 in screen units; of a change with its sign."""
    written = WRITTEN[one.quantity]
    unit = written.unit if one.against is None else written.difference
    text = with_uncertainty(written.factor * value, written.factor * u95, unit or "1")
    signed = one.against is not None and not text.startswith("-")
    return _minus(f"+{text}" if signed else text)


def _minus(text: str) -> str:
    return text.replace("-", "−", 1) if text.startswith("-") else text


def day_sentence(found: DayCorrelation) -> str:
    """What the whole day says of the predictions: where they are off most, or that nothing is shown to be."""
    judged = [*found.totals, *found.changes]
    if not judged:
        return "Nothing that was measured on this day was predicted as well, so that there is no verdict yet."
    worst = _worst(judged)
    if worst is not None:
        share = found.margins.total if worst.against is None else found.margins.change
        return f"Look first at {sentence(worst, share)}"
    if all(one.verdict == "agrees" for one in found.totals):
        return f"All {len(found.totals)} totals agree within {100 * found.margins.total:g} % of what was measured."
    return "No prediction is shown to be off, and not all can be told to agree: sharper measurements would tell."


def day_counts(found: DayCorrelation) -> str:
    """How many verdicts there are of each kind."""
    head = f"Of {len(found.totals)} totals {_counts(found.totals)}" if found.totals else "No total can be judged"
    if found.changes:
        head += f"; of {len(found.changes)} changes {_counts(found.changes)}"
    return f"{head}."


def _counts(judged: Sequence[Correlated]) -> str:
    parts = []
    for verdict, words in (
        ("agrees", "agree"), ("prediction-high", "are predicted too high"), ("prediction-low", "are predicted too low"),
        ("cannot-tell", "the data cannot tell"), ("extrapolated", "would be extrapolated"),
    ):  # fmt: skip
        count = sum(one.verdict == verdict for one in judged)
        if count:
            parts.append(f"{count} {_singular(words) if count == 1 else words}")
    return ", ".join(parts)


def _singular(words: str) -> str:
    return {"agree": "agrees", "are predicted too high": "is predicted too high",
            "are predicted too low": "is predicted too low"}.get(words, words)  # fmt: skip


def _worst(judged: Sequence[Correlated]) -> Correlated | None:
    """The verdict furthest beyond what its own doubt explains, of the areas themselves first."""
    off = [one for one in judged if one.verdict in ("prediction-high", "prediction-low")]
    areas = [one for one in off if one.quantity in ("SCx", "SCz_front", "SCz_rear")] or off
    return max(areas, key=lambda one: one.z, default=None)


def taps_sentence(setup: str, found: Sequence[Correlated]) -> str:
    """How many taps agree, and the one that is furthest off."""
    off = [one for one in found if one.verdict in ("prediction-high", "prediction-low")]
    agreeing = sum(one.verdict == "agrees" for one in found)
    head = (
        f"Of {len(found)} taps of {setup} {agreeing} agree{'s' if agreeing == 1 else ''} and {len(off)} "
        f"{'is' if len(off) == 1 else 'are'} off"
    )
    if not off:
        return f"{head}."
    worst = max(off, key=lambda one: one.z)
    measured = f"{worst.measured.value:.2f} ± {worst.measured.u95:.2f}".replace("-", "−")
    predicted = f"{worst.predicted:.2f} ± {NORMAL_95 * worst.predicted_u:.2f}".replace("-", "−")
    return f"{head}. Look first at tap {worst.setup}: Cp measured {measured}, predicted {predicted}."


def plain_unit(unit: str) -> str:
    """The unit's symbol; 1 of what has no dimension."""
    return "1" if unit in DIMENSIONLESS else unit
