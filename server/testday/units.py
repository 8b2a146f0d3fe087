"""Units as loggers spell them in headers, to SI.

The table is ours because a bare parser misreads headers: g is not a gram, C not a coulomb, Nm not a
nautical mile, "-" not an error. Quotients of what the table knows (N/mm, mm/V) are composed; long names
("hectopascal") go to pint; anything else is unknown and is asked for, never guessed.
"""

from __future__ import annotations

import re
from functools import lru_cache

from server.testday.unit_table import ANY_CASE, EXACT, PLAIN, TABLE, Unit
from server.testday.values import FloatArray


class UnknownUnitError(ValueError):
    """A spelling that is no unit known here; the message is one sentence."""


class UnitMismatchError(ValueError):
    """A unit of another kind than wanted; the message is one sentence."""


_BRACKETS = {"[": "]", "(": ")", "{": "}", "<": ">"}
_PLAIN_SIGNS = {
    **{"²": "2", "³": "3", "⁻¹": "-1", "⁻²": "-2", "**": "", "^": ""},
    **{"·": "*", "⋅": "*", "×": "*", "∙": "*", "_per_": "/", " per ": "/", "\u00a0": ""},
    **{"µ": "u", "μ": "u", "º": "deg", "°": "deg", "℃": "degC", "℉": "degF"},
}
_QUOTIENTS = {"length/time": "speed", "speed/time": "acceleration", "angle/time": "rotation"}
# what a long name may measure: a unit of the kind, as pint spells it
_KINDS = {
    "speed": "meter/second",
    "acceleration": "meter/second**2",
    "pressure": "pascal",
    "temperature": "kelvin",
    "length": "meter",
    "force": "newton",
    "voltage": "volt",
    "current": "ampere",
    "time": "second",
    "mass": "kilogram",
    "power": "watt",
}
_LONG_NAME = re.compile(r"[A-Za-z]{4,}(?:[ _*/]+(?:per )?[A-Za-z]{4,})*")


def bare_spelling(spelling: str) -> str:
    """Return a spelling without brackets and blanks, with plain signs for ², °, µ and ·."""
    text = spelling.strip()
    if len(text) >= 2 and _BRACKETS.get(text[0]) == text[-1]:
        text = text[1:-1].strip()
    for sign, plain in _PLAIN_SIGNS.items():
        text = text.replace(sign, plain)
    return text.replace(" ", "") or "1"


def is_unit(spelling: str) -> bool:
    """Tell whether a header's spelling is a unit of the table or a quotient of such."""
    return _composed(bare_spelling(spelling)) is not None


@lru_cache(maxsize=1024)
def unit_of(spelling: str) -> Unit:
    """Return the unit that a header's spelling means.

    Raises UnknownUnitError.
    """
    unit = _composed(bare_spelling(spelling))
    if unit is None and _LONG_NAME.fullmatch(spelling.strip()):
        unit = _by_pint(spelling.strip())
    if unit is None:
        raise UnknownUnitError(f"'{spelling}' is no unit that is known here.")
    return unit


def to_si(values: FloatArray, spelling: str, dimension: str) -> FloatArray:
    """Convert readings in a header's unit to SI.

    values: shape (n,); dimension: the kind wanted, a word of the table ("speed", "pressure" …).
    Raises UnknownUnitError, UnitMismatchError.
    """
    unit = unit_of(spelling)
    if unit.dimension != dimension:
        raise UnitMismatchError(f"'{spelling}' is a unit of {unit.dimension}, not of {dimension}.")
    if unit.scale != 1.0:
        values = values * unit.scale
    return values + unit.offset if unit.offset else values


def _composed(bare: str) -> Unit | None:
    name = EXACT.get(bare) or ANY_CASE.get(bare.casefold())
    if name is not None:
        return TABLE[name]
    if bare.casefold() in PLAIN:
        return PLAIN[bare.casefold()]
    over, slash, under = bare.rpartition("/")
    if not slash or not over or not under:
        return None
    top, bottom = _composed(_without_parentheses(over)), _composed(_without_parentheses(under))
    if top is None or bottom is None or top.offset or bottom.offset:
        return None
    quotient = f"{top.dimension}/{bottom.dimension}"
    return Unit(_QUOTIENTS.get(quotient, quotient), top.scale / bottom.scale)


def _without_parentheses(text: str) -> str:
    return text[1:-1] if text.startswith("(") and text.endswith(")") else text


def _by_pint(name: str) -> Unit | None:
    import pint  # slow to import, and needed only for names outside the table

    registry = _registry()
    try:
        parsed = registry.parse_units(re.sub(r"[ _]per[ _]", "/", name).replace(" ", "_"))
        for kind, base in _KINDS.items():
            if parsed.is_compatible_with(registry.parse_units(base)):
                zero, one = (float(registry.Quantity(x, parsed).to(base).magnitude) for x in (0.0, 1.0))
                return Unit(kind, one - zero, zero)
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, AssertionError):
        return None
    return None


@lru_cache(maxsize=1)
def _registry():  # type: ignore[no-untyped-def]  # pint carries no usable types
    import pint  # slow to import, and needed only for names outside the table

    return pint.UnitRegistry()
