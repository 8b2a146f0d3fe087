"""Numbers of a day folder between the units of the file and SI, without losing a digit.

Decimal arithmetic on the digits as written: 1009.3 hPa is exactly 100930 Pa, and every SI float has
a text that reads back as the same float.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Context, Decimal

_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d(?:\.\d{1,40})?))?")
_EXACT = Context(prec=60)
_PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494")
_TIDY_DIGITS = 20
_SEARCH_DIGITS = (15, 16, 17, 19, 22, 26, 32, 40)


@dataclass(frozen=True, slots=True)
class Unit:
    """SI = written · scale + offset; `shown` is how a sentence spells it."""

    shown: str
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)


UNITS: dict[str, Unit] = {
    "": Unit(""),
    "kg": Unit("kg"),
    "m": Unit("m"),
    "s": Unit("s"),
    "n": Unit("N"),
    "mps": Unit("m/s"),
    "kmh": Unit("km/h", _EXACT.divide(Decimal(1), Decimal("3.6"))),
    "n_per_mps": Unit("N/(m/s)"),
    "s_per_m": Unit("s/m"),
    "kgm2": Unit("kg m²"),
    "m2": Unit("m²"),
    "mm": Unit("mm", Decimal("0.001")),
    "n_per_mm": Unit("N/mm", Decimal(1000)),
    "hpa": Unit("hPa", Decimal(100)),
    "bar": Unit("bar", Decimal(100_000)),
    "pct": Unit("%", Decimal("0.01")),
    "c": Unit("°C", offset=Decimal("273.15")),
    "deg": Unit("°", _EXACT.divide(_PI, Decimal(180))),
}


def to_si(written: Decimal, unit: str) -> float:
    """Return the SI value of a number as written in `unit` (a key of `UNITS`)."""
    known = UNITS[unit]
    return float(_EXACT.add(_EXACT.multiply(written, known.scale), known.offset))


def difference_to_si(written: Decimal, unit: str) -> float:
    """Return a difference or an uncertainty in SI: scaled, not shifted."""
    return float(_EXACT.multiply(written, UNITS[unit].scale))


def from_si(value: float, unit: str) -> Decimal:
    """Return a short decimal in `unit` that `to_si` takes back to exactly `value`."""
    return _written(value, unit, UNITS[unit].offset, to_si)


def difference_from_si(value: float, unit: str) -> Decimal:
    """Return a short decimal in `unit` that `difference_to_si` takes back to exactly `value`."""
    return _written(value, unit, Decimal(0), difference_to_si)


def _written(value: float, unit: str, offset: Decimal, back: Callable[[Decimal, str], float]) -> Decimal:
    """Convert the float's own short digits where that is exact, else the shortest of its exact value."""
    scale = UNITS[unit].scale
    tidy, exact = (
        _EXACT.divide(_EXACT.subtract(of, offset), scale) for of in (Decimal(repr(value)), Decimal(value))
    )
    candidates = [Context(prec=digits).plus(exact) for digits in _SEARCH_DIGITS]
    if len(tidy.as_tuple().digits) <= _TIDY_DIGITS:
        candidates.insert(0, tidy)
    for candidate in candidates:
        if back(candidate, unit) == value:
            return candidate
    raise ValueError(f"value {value!r} has no decimal form in {unit!r}")


def number_text(number: Decimal) -> str:
    """Write a decimal as a TOML float without trailing zeros: 236.0, 0.00012, 1.5e-09."""
    if number == 0:
        return "0.0"
    digits = number.normalize(_EXACT)
    exponent = digits.adjusted()
    if -7 <= exponent < 16:
        text = format(digits, "f")
        return text if "." in text else text + ".0"
    return format(digits, "e").replace("E", "e")


def clock_to_s(text: str) -> float | None:
    """Return HH:MM or HH:MM:SS[.fff] in seconds after midnight, or None where it is no clock time."""
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        return None
    hours, minutes, seconds = match.groups(default="0")
    return float(_EXACT.add(Decimal(3600 * int(hours) + 60 * int(minutes)), Decimal(seconds)))


def clock_from_s(seconds: float) -> str:
    """Return HH:MM:SS[.fff] that `clock_to_s` takes back to exactly `seconds` (0 ≤ seconds < 86400)."""
    if not 0 <= seconds < 86400:
        raise ValueError(f"seconds is {seconds!r}; a clock time lies between 0 and 86,400 s after midnight")
    exact = from_si(seconds, "s")
    minutes, rest = divmod(exact, 60)
    whole, fraction = divmod(rest, 1)
    hours, minute = divmod(int(minutes), 60)
    tail = format(fraction.normalize(_EXACT), "f")[1:] if fraction else ""
    return f"{hours:02d}:{minute:02d}:{int(whole):02d}{tail}"
