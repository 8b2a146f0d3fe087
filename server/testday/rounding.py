"""A value and its uncertainty as people write them: two significant digits of U95 (GUM 7.2.6)."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal

SIGNIFICANT_DIGITS = 2
DIMENSIONLESS = ("", "1", "–")


def last_decimal(u95: float, digits: int = SIGNIFICANT_DIGITS) -> int:
    """Decimal place of the last digit to keep: 2 keeps hundredths, −1 keeps tens.

    u95: uncertainty that sets the place, > 0. digits: its significant digits. An uncertainty that
    rounds up into one digit more (0.0996 → 0.10) keeps its two digits.
    Raises ValueError when u95 is not positive and finite or digits < 1.
    Source: JCGM 100:2008 (GUM), 7.2.6.
    """
    if not (math.isfinite(u95) and u95 > 0.0):
        raise ValueError(f"u95 must be positive and finite, not {u95}")
    if digits < 1:
        raise ValueError(f"digits must be at least 1, not {digits}")
    exact = Decimal(repr(float(u95)))
    decimals = digits - 1 - exact.adjusted()
    return decimals - (_quantize(exact, decimals).adjusted() - exact.adjusted())


def rounded(value: float, u95: float, digits: int = SIGNIFICANT_DIGITS) -> tuple[str, str]:
    """Value and uncertainty as plain decimals, both cut at the uncertainty's last kept digit.

    value: estimate, finite. u95: half width of its interval, same unit, ≥ 0; with u95 = 0 (an exact
    value) the value keeps six significant digits. Halves round to even, so that rounding has no bias.
    Raises ValueError naming the argument that is not finite or is negative.
    Source: JCGM 100:2008 (GUM), 7.2.6: u to two significant digits, the estimate rounded to match.
    """
    if not math.isfinite(value):
        raise ValueError(f"value must be finite, not {value}")
    if u95 == 0.0:
        return _plain(Decimal(f"{value:.6g}")), "0"
    decimals = last_decimal(u95, digits)
    return _fixed(value, decimals), _fixed(u95, decimals)


def with_uncertainty(value: float, u95: float, unit: str = "") -> str:
    """`1.38 ± 0.04 m²`-style text: value ± U95 and unit [any], rounded by `rounded`.

    value, u95 and what is raised: as in `rounded`. An exact value (u95 = 0) is written without ±,
    a dimensionless one ('', '1' or '–') without unit.
    Source: JCGM 100:2008 (GUM), 7.2.4 and 7.2.6.
    """
    value_text, u_text = rounded(value, u95)
    text = value_text if u95 == 0.0 else f"{value_text} ± {u_text}"
    return f"{text} {unit}" if unit not in DIMENSIONLESS else text


def _fixed(number: float, decimals: int) -> str:
    return _plain(_quantize(Decimal(repr(float(number))), decimals))


def _quantize(number: Decimal, decimals: int) -> Decimal:
    return number.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)


def _plain(number: Decimal) -> str:
    text = f"{number:f}"
    return text.removeprefix("-") if number.is_zero() else text
