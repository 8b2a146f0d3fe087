"""Setups against a baseline over days, in the words and units of the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.analysis.compared_days import ComparedDays, OverDaysDifference, Spread
from server.figures.quantity import Quantity, quantity_of
from server.figures.theme import SetupMark
from server.results.next_step import WANTED_U95_M2
from server.results.quantities import p_words, signed, two_digits
from server.testday.rounding import with_uncertainty

APART_P = 0.05
MOST_DAYS_SAID = 60


@dataclass(frozen=True, slots=True)
class OverDaysRow:
    """One difference over days: alone, together with the others, its days, and what more days would do."""

    mark: SetupMark
    name: str
    alone: str
    together: str
    p_all: str
    smallest: str
    days: str
    verdict: str
    advice: str


def over_days_rows(compared: ComparedDays, marks: Mapping[str, SetupMark]) -> tuple[OverDaysRow, ...]:
    """The rows of the page's table."""
    quantity = quantity_of(compared.quantity)
    return tuple(
        OverDaysRow(
            mark=marks[one.setup],
            name=one.setup,
            alone=signed(_text(one, one.u95, quantity)),
            together=signed(_text(one, one.u95_all, quantity)),
            p_all=_p(one.p_all),
            smallest=two_digits(quantity.factor * one.smallest_seen, quantity.unit),
            days=_days(one),
            verdict=one.verdict,
            advice=advice(one, compared),
        )
        for one in compared.differences
    )


def advice(one: OverDaysDifference, compared: ComparedDays) -> str:
    """What more days that run both would do."""
    if not one.both:
        return f"run both on one day: no day set {one.setup} against {compared.baseline}"
    if one.days_told is not None and one.days_told <= MOST_DAYS_SAID and one.days_told > len(one.both):
        return f"as large as it looks, {one.days_told} days in all that run both would tell it four times of five"
    if compared.quantity != "SCx" or one.u95 <= WANTED_U95_M2:
        return "nothing is needed"
    if one.days_wanted is None or one.days_wanted > MOST_DAYS_SAID:
        return f"no number of such days reaches ± {WANTED_U95_M2:g} m²"
    more = max(one.days_wanted, len(one.both) + 1)
    return f"for ± {WANTED_U95_M2:g} m²: {more} days in all that run both"


def over_days_sentence(compared: ComparedDays) -> str:
    """What the days tell of the setups against the baseline, and what to do where they do not tell."""
    quantity = quantity_of(compared.quantity)
    told = sorted((one for one in compared.differences if one.verdict != "not told"), key=lambda one: one.value)
    silent = [one for one in compared.differences if one.verdict == "not told"]
    base, one_day = compared.baseline, compared.days == 1
    days = "one day" if one_day else f"{compared.days} days"
    parts = [
        f"{one.setup} {signed(_text(one, one.u95_all, quantity))} ({'more' if one.value > 0 else 'less'} than {base})"
        for one in told
    ]
    head = f"{quantity.symbol} against {base} over {days}: {'; '.join(parts)}." if parts else ""
    if not silent:
        return head
    seen = two_digits(quantity.factor * max(one.smallest_seen for one in silent), quantity.unit)
    names = _names([one.setup for one in silent])
    which, they = ("this day", "it") if one_day else (f"these {days}", "they")
    rest = f"Of {names} {which} could not tell {quantity.symbol} from that of {base}; {they} would have seen {seen}."
    return f"{head} {rest}".strip()


def agreement_sentence(compared: ComparedDays) -> str:
    """Whether the days agree, in words, and how far they differ."""
    quantity = quantity_of(compared.quantity)
    apart = [
        (day.words, one.setup)
        for one in compared.differences
        for day in one.both
        if day.apart_p is not None and day.apart_p < APART_P
    ]
    if compared.spread_p is None:
        return (
            "Only one day set these against each other, so nothing tells whether days agree; the intervals allow that a"
            f" setup differs from day to day by about {_spread(compared.own, quantity)}. A second day would tell."
        )
    own = f"a setup put on again differs from day to day by {_spread(compared.own, quantity)}"
    if apart:
        named = "; ".join(f"{setup} on {words}" for words, setup in apart)
        return f"Not all days agree: {named} lies apart from the other days. Look what differed there; {own}."
    if compared.spread_p < APART_P:
        return (
            f"The differences lie further apart than their own errors explain ({p_words(compared.spread_p)}): {own}."
            " Look what differed between the days."
        )
    return f"The days agree within their own errors ({p_words(compared.spread_p)}); {own}."


def between_sentence(compared: ComparedDays) -> str:
    """How far whole days differ, which differences within a day are free of."""
    size = _spread(compared.between, quantity_of(compared.quantity))
    return (
        f"All setups of a day together differ from day to day by {size}. Days that ran both are"
        " free of that; days that ran one of two tell of the difference as far as it lets them."
    )


def _spread(spread: Spread, quantity: Quantity) -> str:
    low, value, high = (quantity.factor * number for number in (spread.low95, spread.value, spread.high95))
    unit = f" {quantity.unit}" if quantity.unit != "1" else ""
    return f"{value:.2g}{unit} (standard deviation; 95 %: {low:.1g} to {high:.2g}{unit})"


def _days(one: OverDaysDifference) -> str:
    alone = len(one.days) - len(one.both)
    both = f"{len(one.both)} ran both"
    return both if not alone else f"{both}, {alone} one of the two"


def _text(one: OverDaysDifference, half: float, quantity: Quantity) -> str:
    return with_uncertainty(quantity.factor * one.value, quantity.factor * half, quantity.unit)


def _p(p: float) -> str:
    return p_words(p).removeprefix("p = ").removeprefix("p ")


def _names(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
