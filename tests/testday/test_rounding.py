"""Rounding against the examples printed in the GUM (JCGM 100:2008) and NIST TN 1297."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.testday.rounding import last_decimal, rounded, with_uncertainty


@pytest.mark.parametrize(
    ("value", "u", "value_text", "u_text"),
    [
        pytest.param(10.05762, 0.027, "10.058", "0.027", id="GUM 7.2.6: 10,057 62 ohm, 27 mohm"),
        pytest.param(28.05, 28.05, "28", "28", id="GUM 7.2.6: 28,05 kHz is rounded down to 28 kHz"),
        pytest.param(100.02147, 0.00035, "100.02147", "0.00035", id="GUM 7.2.2: 100 g mass standard"),
        pytest.param(100.02147, 0.00079, "100.02147", "0.00079", id="GUM 7.2.4: its expanded uncertainty"),
        pytest.param(50.000838, 0.000093, "50.000838", "0.000093", id="GUM H.1.6: end gauge, U99 in mm"),
        pytest.param(-0.17120, 0.00288, "-0.1712", "0.0029", id="GUM H.3.3: thermometer intercept"),
        pytest.param(0.00218, 0.00067, "0.00218", "0.00067", id="GUM H.3.3: thermometer slope"),
    ],
)
def test_published_examples(value: float, u: float, value_text: str, u_text: str) -> None:
    assert rounded(value, u) == (value_text, u_text)


@pytest.mark.parametrize(
    ("value", "u95", "text"),
    [
        (1.3849, 0.0996, "1.38 ± 0.10"),
        (1.3849, 0.00951, "1.3849 ± 0.0095"),
        (1234.0, 231.0, "1230 ± 230"),
        (98.7, 99.6, "100 ± 100"),
        (0.0004, 0.03, "0.000 ± 0.030"),
        (-0.0004, 0.03, "0.000 ± 0.030"),
        (-1.005, 0.25, "-1.00 ± 0.25"),
        (22.0, 0.0, "22"),
        (5e-7, 1.2e-7, "0.00000050 ± 0.00000012"),
    ],
)
def test_carries_zeros_and_signs(value: float, u95: float, text: str) -> None:
    assert with_uncertainty(value, u95) == text


def test_unit_follows_and_one_is_no_unit() -> None:
    assert with_uncertainty(1.38, 0.041, "m²") == "1.380 ± 0.041 m²"
    for unit in ("", "1", "–"):
        assert with_uncertainty(0.46, 0.02, unit) == "0.460 ± 0.020"


@pytest.mark.parametrize("u95", [0.0, -1.0, float("nan"), float("inf")])
def test_last_decimal_refuses_what_is_no_uncertainty(u95: float) -> None:
    with pytest.raises(ValueError, match="u95"):
        last_decimal(u95)


def test_rounded_names_the_bad_argument() -> None:
    with pytest.raises(ValueError, match="value must be finite"):
        rounded(float("nan"), 1.0)
    with pytest.raises(ValueError, match="u95"):
        rounded(1.0, -0.1)
    with pytest.raises(ValueError, match="digits"):
        rounded(1.0, 0.1, digits=0)


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_reads_back_within_half_the_last_digit(value: float, u95: float) -> None:
    value_text, u_text = rounded(value, u95)
    step = 10.0 ** -last_decimal(u95)
    assert abs(float(value_text) - value) <= step * 0.5 + 2.0 * math.ulp(value)  # a half, and what a float can't tell
    assert abs(float(u_text) - u95) <= step * 0.5 + 2.0 * math.ulp(u95)
    assert 10 <= round(float(u_text) / step) <= 99
