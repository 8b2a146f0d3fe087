"""Two results of the same revision number by number: the same to the last printed digit, or which are not.

A value with an interval is printed as value ± U95, to two significant digits of U95; any other number is taken to be
printed to six; of the curves of a pass the largest step counts, against the curve's own largest value.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from server.analysis.result import (
    AxleLoadFit,
    BaselineDrift,
    BudgetLine,
    Comparison,
    DayResult,
    Delta,
    Estimate,
    Pass,
    PassFit,
    SetupResult,
    SourceCheck,
    StandTest,
    VisitedHeight,
)
from server.results.quantities import ESTIMATES, NOISE, Shown, delta_scale, true_minus
from server.testday.rounding import rounded, with_uncertainty
from server.testday.values import Finding

LEAST_CURVE = 1e-6
NOT_NUMBERS = ("version", "options", "made_with")
LATER = ("joint", "outlook", "drift")  # of a day; empty in results that were kept before they were told
UNSAID = {"setups", "estimates", "deltas", "passes", "fits", "comparisons"}  # the name of what is in them says enough
UNITS = ("s", "mps", "n", "pa", "m", "m2", "rad")
Kind = Literal["value", "number", "curve", "words"]


@dataclass(frozen=True, slots=True)
class Moved:
    """One thing that is not as it was. change: in words; size: by how many of its own u, for the order of a list."""

    place: str
    kind: Kind
    then: str
    now: str
    change: str = ""
    size: float = 0.0


@dataclass(frozen=True, slots=True)
class Held:
    """A number that is not the same bit for bit, though it is printed alike; share: of what it was."""

    share: float


@dataclass(frozen=True, slots=True)
class Same:
    """A number, a curve or a word that is the same bit for bit."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Two results. compared: how many things were looked at; hidden: how many differ beneath what is printed.

    added: what is told now, and was told of no day when the first was made.
    """

    compared: int
    moved: tuple[Moved, ...]
    hidden: int
    largest_hidden: float
    added: tuple[str, ...] = ()

    @property
    def printed_alike(self) -> bool:
        """The same numbers to the last printed digit."""
        return not self.moved

    @property
    def identical(self) -> bool:
        """The same to the last bit."""
        return not self.moved and not self.hidden


def compare_results(then: DayResult, now: DayResult) -> Compared:
    """Every number, curve and word of two results; what they were made with is no part of it."""
    added = tuple(name for name in LATER if not getattr(then, name) and getattr(now, name))
    then = dataclasses.replace(then, **{name: getattr(now, name) for name in added})
    told = list(_walk(then, now, ""))
    moved = sorted((one for one in told if isinstance(one, Moved)), key=_rank)
    held = [one.share for one in told if isinstance(one, Held)]
    return Compared(len(told), tuple(moved), len(held), max(held, default=0.0), added)


def _rank(one: Moved) -> tuple[int, float]:
    """The areas of setups and their differences first, then all with an interval, by how far they moved."""
    kinds = {"value": 1, "number": 2, "words": 3, "curve": 4}
    return (0 if one.kind == "value" and one.place.count(", ") == 1 else kinds[one.kind], -one.size)


def _walk(then: Any, now: Any, place: str) -> Iterator[Moved | Held | Same]:
    if then is None or now is None or type(then) is not type(now):
        yield from _others(then, now, place)
    elif isinstance(then, Estimate | Delta):
        yield _value(then, now, place)
    elif dataclasses.is_dataclass(then):
        for one in dataclasses.fields(then):
            if one.name not in NOT_NUMBERS:
                yield from _walk(getattr(then, one.name), getattr(now, one.name), _at(place, one.name))
    elif isinstance(then, Mapping):
        yield from _pairs(dict(then), dict(now), place)
    elif isinstance(then, tuple | list):
        yield from _pairs(_named(then), _named(now), place)
    elif isinstance(then, np.ndarray):
        yield _curve(then, now, place)
    else:
        yield from _others(then, now, place)


def _pairs(then: Mapping[str, Any], now: Mapping[str, Any], place: str) -> Iterator[Moved | Held | Same]:
    for name in dict.fromkeys([*then, *now]):
        yield from _walk(then.get(name), now.get(name), _at(place, str(name)))


def _at(place: str, name: str) -> str:
    words = "" if name in UNSAID else name
    if name not in ESTIMATES and name.isidentifier():
        parts = name.split("_")
        words = " ".join(parts[:-1] if len(parts) > 1 and parts[-1] in UNITS else parts) if words else ""
    return ", ".join(part for part in (place, words) if part)


def _named(values: Sequence[Any]) -> dict[str, Any]:
    """Members of a list by what they are called, so that one more in the middle moves none of those after it."""
    found: dict[str, Any] = {}
    for number, one in enumerate(values, 1):
        name = _name(one) or str(number)
        found[name if name not in found else f"{name} ({number})"] = one
    return found


def _name(one: Any) -> str:  # noqa: PLR0911 - a table of types
    match one:
        case SetupResult():
            return f"setup {one.name}"
        case Comparison():
            return f"{one.setup} − {one.baseline}"
        case Pass():
            return f"{one.kind} of run {one.run} from {one.start_s:.1f} s"
        case PassFit():
            return f"{_name(one.of)}, on its own"
        case AxleLoadFit():
            return f"{one.axle} axle by {one.source}"
        case BudgetLine():
            return f"{one.input} in u of {one.quantity}"
        case Finding():
            return " ".join(["finding", one.code, *([f"of run {one.run}"] if one.run is not None else [])])
        case VisitedHeight():
            return f"{one.axle} axle"
        case SourceCheck():
            return f"{one.axle} axle, {one.first} over {one.second}"
        case StandTest() | BaselineDrift():
            return one.quantity
        case _:
            return ""


def _value(then: Estimate | Delta, now: Estimate | Delta, place: str) -> Moved | Held | Same:
    numbers = ("value", "u", "low95", "high95")
    shares = [_share(getattr(then, name), getattr(now, name), then.u or abs(then.value)) for name in numbers]
    if not any(shares) and then.unit == now.unit:
        return Same()
    was, became = _printed(then, place), _printed(now, place)
    if was == became:
        return Held(max(shares))
    step = now.value - then.value
    size = abs(step) / then.u if then.u > 0 and math.isfinite(step) else math.inf
    return Moved(place, "value", was, became, _step_words(step, then), size)


def _printed(one: Estimate | Delta, place: str) -> str:
    if not all(map(math.isfinite, (one.value, one.low95, one.high95))):
        return "none"
    name = place.rpartition(", ")[2]
    if isinstance(one, Delta):
        factor, unit = delta_scale(name, one)
    else:
        shown = ESTIMATES.get(name) or NOISE.get(name.replace(" ", "_")) or Shown(name, unit=one.unit)
        factor, unit = shown.factor, shown.unit
    return true_minus(with_uncertainty(factor * one.value, factor * one.u95, unit))


def _step_words(step: float, then: Estimate | Delta) -> str:
    if not math.isfinite(step):
        return ""
    if step == 0.0:
        return "its interval alone"
    of_it = f"{100.0 * step / abs(then.value):+.2g} %" if then.value else f"{step:+.2g}"
    of_u = f", {rounded(abs(step) / then.u, abs(step) / then.u)[0]} u" if then.u > 0 else ""
    return f"{of_it}{of_u}".replace("-", "−")


def _curve(then: np.ndarray[Any, Any], now: np.ndarray[Any, Any], place: str) -> Moved | Held | Same:
    if then.shape != now.shape:
        return Moved(place, "curve", f"{then.size} values", f"{now.size} values", size=math.inf)
    if np.array_equal(then, now, equal_nan=True):
        return Same()
    if not np.array_equal(np.isfinite(then), np.isfinite(now)):
        return Moved(place, "curve", "values", "values that are missing elsewhere", size=math.inf)
    scale = float(np.nanmax(np.abs(then))) or 1.0
    share = float(np.nanmax(np.abs(now - then))) / scale
    if share < LEAST_CURVE:
        return Held(share)
    return Moved(place, "curve", "", "", f"up to {share:.2g} of its largest value", 0.0)


def _others(then: Any, now: Any, place: str) -> Iterator[Moved | Held | Same]:
    """A plain number, a word, or something that one of the two does not have."""
    if isinstance(then, float) and isinstance(now, float):
        yield _number(then, now, place)
    elif type(then) is type(now) and then == now:
        yield Same()
    else:
        value = isinstance(then if now is None else now, Estimate | Delta)
        yield Moved(place, "value" if value else "words", _words(then, place), _words(now, place), size=math.inf)


def _number(then: float, now: float, place: str) -> Moved | Held | Same:
    share = _share(then, now, abs(then))
    if not share:
        return Same()
    was, became = f"{then:.6g}", f"{now:.6g}"
    if was == became:
        return Held(share)
    return Moved(place, "number", true_minus(was), true_minus(became))


def _share(then: float, now: float, scale: float) -> float:
    """How far two numbers are apart, of a scale; 0 where they are the same, bit for bit or both none."""
    if then == now or (math.isnan(then) and math.isnan(now)):
        return 0.0
    if not (math.isfinite(then) and math.isfinite(now)):
        return math.inf
    return abs(now - then) / (scale or 1.0)


def _words(value: Any, place: str) -> str:
    if value is None:
        return "none"
    if isinstance(value, Estimate | Delta):
        return _printed(value, place)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str | int | float):
        return str(value)
    if isinstance(value, Finding):
        return value.text
    return "there"
