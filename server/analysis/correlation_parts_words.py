"""Tests of a part, in words."""

from __future__ import annotations

from server.analysis.correlated import NORMAL_95
from server.analysis.correlation_parts import PartTest
from server.analysis.correlation_words import VERDICT_WORDS, WRITTEN
from server.testday.rounding import rounded, with_uncertainty


def part_sentence(one: PartTest) -> str:
    """What a part makes on itself, what on the rest of the car, and what the track said of both together."""
    symbol, half = WRITTEN[one.change.quantity].symbol, NORMAL_95 * one.measured_u
    own = _signed(rounded(one.on_itself, half)[0])
    measured = _signed(with_uncertainty(one.measured, half, "m²"))
    head = f"{one.part}, {symbol}: predicted {own} m² on itself"
    if one.whole is None or one.on_others is None:
        return f"{head}; measured {measured} for the whole car; what it does to the rest is not predicted here."
    others, whole = (_signed(rounded(value, half)[0]) for value in (one.on_others, one.whole))
    verdict = VERDICT_WORDS[one.change.verdict]
    more = _elsewhere(one, half)
    return (
        f"{head} and {others} m² on the rest of the car, {whole} m² in all; measured {measured}: {verdict}.{more}"
    )


def _elsewhere(one: PartTest, half: float) -> str:
    """Said where the track tells that the part's worth is not that on itself."""
    if abs(one.measured - one.on_itself) <= half:
        return ""
    if abs(one.measured) > abs(one.on_itself):
        return " It is worth more on the car than on itself: it helps its neighbours, or they it."
    return " It is worth less on the car than on itself: its neighbours lose by it."


def _signed(text: str) -> str:
    return text.replace("-", "−", 1) if text.startswith("-") else f"+{text}"
