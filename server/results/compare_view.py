"""Setups against a baseline, in the words and units of the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.analysis.compared import Compared, Difference, Surface, Varied
from server.days.setup_words import differences
from server.figures.quantity import Quantity, quantity_of
from server.figures.theme import SetupMark
from server.results.quantities import p_words, signed, true_minus, two_digits
from server.testday.rounding import rounded, with_uncertainty
from server.testday.setting_names import spoken, with_unit
from server.testday.values import Day

if TYPE_CHECKING:
    from server.inference.response import Optimum


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """One difference: alone, together with the others, and what the day would have seen."""

    mark: SetupMark
    name: str
    changed: tuple[str, ...]
    alone: str
    together: str
    p: str
    p_all: str
    smallest: str
    verdict: str


def difference_rows(compared: Compared, marks: Mapping[str, SetupMark], day: Day) -> tuple[DifferenceRow, ...]:
    """The rows of the page's table."""
    setups = {setup.name: setup for setup in day.setups}
    return tuple(
        DifferenceRow(
            marks[one.setup],
            one.setup,
            differences(day, setups[one.setup]) if one.setup in setups else (),
            _with_sign(one, 0.5 * (one.high95 - one.low95), quantity_of(compared.quantity)),
            _with_sign(one, 0.5 * (one.high_all - one.low_all), quantity_of(compared.quantity)),
            p_words(one.p).removeprefix("p = ").removeprefix("p "),
            p_words(one.p_all).removeprefix("p = ").removeprefix("p "),
            two_digits(quantity_of(compared.quantity).factor * one.smallest_seen, quantity_of(compared.quantity).unit),
            one.verdict,
        )
        for one in compared.differences
    )


def compared_sentence(compared: Compared) -> str:
    """What the day tells of the setups against the baseline, and what to do where it does not tell."""
    quantity = quantity_of(compared.quantity)
    told = [one for one in compared.differences if one.verdict != "not told"]
    silent = [one for one in compared.differences if one.verdict == "not told"]
    parts = [
        f"{one.setup} {signed(_text(one, quantity))} ({'more' if one.value > 0 else 'less'} than {compared.baseline})"
        for one in sorted(told, key=lambda each: each.value)
    ]
    head = f"{quantity.symbol} against {compared.baseline}: {'; '.join(parts)}." if parts else ""
    if not silent:
        return head
    widest = max(one.smallest_seen for one in silent)
    seen = two_digits(quantity.factor * widest, quantity.unit)
    names = _names([one.setup for one in silent])
    rest = f"of {names} this day could not tell {quantity.symbol} from that of {compared.baseline}"
    return f"{head} {rest[0].upper()}{rest[1:]}; it would have seen {seen}. More passes of both would see less.".strip()


def varied_sentence(varied: Varied) -> str:
    """Where the quantity is largest or smallest over the setting, or that it can't be told within what was tried."""
    symbol, setting = quantity_of(varied.quantity).symbol, spoken(varied.setting)
    tried = _range(varied.setting, min(varied.at), max(varied.at))
    for word, place in (("largest", varied.largest), ("smallest", varied.smallest)):
        if place.setting is not None and place.bounded:
            at = f"{setting} {_place(varied.setting, place)}"
            return f"{symbol} is {word} at {at}, of {tried} tried{_misfit(varied)}."
    return (
        f"Within the settings tried ({setting} {tried}) no best can be told: {symbol} may be largest or smallest"
        f" at an end{_misfit(varied)}. Settings further apart, or more passes of each, would tell."
    )


def surface_sentence(surface: Surface) -> str:
    """Where the quantity is largest or smallest over two settings, or why no best can be told; a saddle is named."""
    symbol, (first, second) = quantity_of(surface.quantity).symbol, surface.settings
    low, high = surface.at.min(axis=0), surface.at.max(axis=0)
    ranges = [_range(name, *ends) for name, *ends in zip(surface.settings, low, high, strict=True)]
    tried = f"{spoken(first)} {ranges[0]} and {spoken(second)} {ranges[1]}"
    best, bend = surface.best, surface.shape
    if surface.inside and best is not None and best.bounded:
        places = f"{spoken(first)} {_place(first, best, 0)} and {spoken(second)} {_place(second, best, 1)}"
        return f"{symbol} is {bend.bend} at {places}, of {tried} tried{_misfit(surface)}."
    if bend.bend == "saddle" and bend.sure:
        return (
            f"{symbol} over {tried} is a saddle: it has a largest along one direction and a smallest along another, so"
            f" no best lies inside{_misfit(surface)}. Look along the rim of what was tried."
        )
    if bend.sure and not surface.inside:
        return (
            f"{symbol} bends towards a {bend.bend} that lies outside of what was tried ({tried}){_misfit(surface)}."
            " Setups further that way would find it; nothing is drawn there."
        )
    return (
        f"Within what was tried ({tried}) no best can be told: {symbol} may have a largest, a smallest or a saddle, or"
        f" its best at the rim{_misfit(surface)}. Setups further apart, or more passes of each, would tell."
    )


def _range(name: str, low: float, high: float) -> str:
    return true_minus(f"{low:g} to {with_unit(name, f'{high:g}')}")


def _place(name: str, place: Optimum, axis: int = 0) -> str:
    assert place.setting is not None
    at, low, high = (float(each[axis]) for each in (place.setting, place.low, place.high))
    half = max(high - at, at - low)
    texts = [with_unit(name, rounded(each, half)[0]) for each in (at, low, high)]
    return true_minus("{} (95 %: {} to {})".format(*texts))


def _misfit(varied: Varied | Surface) -> str:
    """Said where the points leave the curve by more than their own doubt."""
    if varied.lack_p >= 0.05:
        return ""
    what = "curve" if isinstance(varied, Varied) else "surface"
    return f"; the {what} does not pass near all setups, so something else differed too"


def _text(one: Difference, quantity: Quantity) -> str:
    half = 0.5 * (one.high_all - one.low_all)
    return with_uncertainty(quantity.factor * one.value, quantity.factor * half, quantity.unit)


def _with_sign(one: Difference, half: float, quantity: Quantity) -> str:
    return signed(with_uncertainty(quantity.factor * one.value, quantity.factor * half, quantity.unit))


def _names(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
