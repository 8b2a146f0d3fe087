"""Numbers between file units and SI without losing a digit."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.testday.quantities import (
    UNITS,
    clock_from_s,
    clock_to_s,
    difference_from_si,
    difference_to_si,
    from_si,
    number_text,
    to_si,
)

FLOATS = st.floats(-1e9, 1e9, allow_subnormal=False).filter(lambda value: value == 0 or abs(value) > 1e-12)


@given(value=FLOATS, unit=st.sampled_from(sorted(UNITS)))
def test_every_value_has_a_text_that_reads_back_to_itself(value: float, unit: str) -> None:
    assert to_si(Decimal(number_text(from_si(value, unit))), unit) == value
    assert difference_to_si(Decimal(number_text(difference_from_si(value, unit))), unit) == value


@given(digits=st.decimals(-99_999, 99_999, places=4), unit=st.sampled_from(sorted(UNITS)))
def test_what_a_person_wrote_comes_back_as_it_was(digits: Decimal, unit: str) -> None:
    assert from_si(to_si(digits, unit), unit) == digits


@pytest.mark.parametrize(
    ("written", "unit", "si"),
    [
        ("1009.3", "hpa", 100_930.0),
        ("29.1", "pct", 0.291),
        ("0.1", "mm", 0.0001),
        ("17.3", "c", 290.45),
        ("39.7", "n_per_mm", 39_700.0),
        ("180", "deg", math.pi),
        ("82", "deg", math.radians(82)),
    ],
)
def test_conversions_are_exact(written: str, unit: str, si: float) -> None:
    assert to_si(Decimal(written), unit) == si


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("236", "236.0"),
        ("0.00012", "0.00012"),
        ("-0", "0.0"),
        ("1E-9", "1e-9"),
        ("12e20", "1.2e+21"),
        ("5.10", "5.1"),
    ],
)
def test_texts_are_toml_floats_without_trailing_zeros(number: str, text: str) -> None:
    assert number_text(Decimal(number)) == text


@given(seconds=st.floats(0, 86_400, exclude_max=True, allow_subnormal=False))
def test_clock_times_come_back(seconds: float) -> None:
    if seconds < 1e-12:
        seconds = 0.0
    assert clock_to_s(clock_from_s(seconds)) == seconds


def test_clock_times() -> None:
    assert clock_from_s(33_000.25) == "09:10:00.25"
    assert clock_to_s("9:10") == 33_000.0
    assert clock_to_s(" 23:59:59.5 ") == 86_399.5
    for text in ("", "9", "24:00", "09:60", "09:10:60", "9:1", "-1:00", "09:10:00.", "0９:10 h"):
        assert clock_to_s(text) is None
    for seconds in (-1.0, 86_400.0, math.nan):
        with pytest.raises(ValueError, match="seconds is"):
            clock_from_s(seconds)
