"""Cp at taps: runs averaged, told at the car's ride heights, margins of the taps' range, and a table's lines."""

from __future__ import annotations

import pytest

from server.analysis.correlated import Heights, MeasuredTap
from server.analysis.correlation_taps import correlate_taps
from server.analysis.correlation_words import taps_sentence
from server.correlation.taps import USUAL_U, read_taps
from server.errors import StillairError
from server.testday.predicted import TapCase
from server.testday.values import Quantity

AT = Heights(Quantity(0.026, 0.0003), Quantity(0.030, 0.0003), "measured")
MEASURED = [
    MeasuredTap("A", "F1", -1.24, 0.03, 1), MeasuredTap("A", "F1", -1.16, 0.03, 2),
    MeasuredTap("A", "F2", -0.40, 0.03), MeasuredTap("A", "N", 0.80, 0.03), MeasuredTap("B", "F1", -2.0, 0.03),
]  # fmt: skip


def cases(tap: str, cp: float, u: float = 0.01) -> list[TapCase]:
    """Cp deepens by 2 % for a mm that either axle sinks."""
    return [
        TapCase("A", tap, cp * (1.0 + 0.02 * (56.0 - f - r)), u, f / 1e3, r / 1e3)
        for f in (22.0, 26.0, 30.0)
        for r in (26.0, 30.0, 34.0)
    ]


def test_taps_are_told_like_for_like() -> None:
    predicted = [*cases("F1", -1.20), *cases("F2", -0.75), *cases("Z", 1.0)]
    low = Heights(Quantity(0.025, 0.0003), Quantity(0.029, 0.0003), "measured")
    found = {one.setup: one for one in correlate_taps(MEASURED, predicted, "A", low, 0.05)}
    assert set(found) == {"F1", "F2"}  # N was not predicted, Z not measured
    assert found["F1"].measured.value == pytest.approx(-1.20)
    assert found["F1"].measured.u == pytest.approx((0.03**2 + 0.04**2) ** 0.5)  # two runs 0.08 apart
    assert found["F1"].predicted == pytest.approx(-1.20 * 1.04)
    assert found["F1"].margin == pytest.approx(0.05 * 2.0)  # of the range, −1.2 to 0.8
    assert found["F2"].verdict == "prediction-low"
    assert "Look first at tap F2" in taps_sentence("A", tuple(found.values()))


def test_outside_the_cases_there_is_no_number() -> None:
    far = Heights(Quantity(0.040, 0.0003), Quantity(0.045, 0.0003), "measured")
    (one,) = correlate_taps(MEASURED[:1], cases("F1", -1.2), "A", far, 0.05)
    assert (one.verdict, one.predicted) == ("extrapolated", None)


def test_a_table_of_any_separator() -> None:
    for text in ("setup,tap,cp,u,run\nA,F1,-1.2,0.04,3\n", "Run;Tap;Setup;Cp;u\n3;F1;A;−1,2;0,04\n"):
        assert read_taps(text) == (MeasuredTap("A", "F1", -1.2, 0.04, 3),)
    assert read_taps("tap\tcp\tsetup\nF1\t0,5\tA\n\n") == (MeasuredTap("A", "F1", 0.5, USUAL_U),)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "names the columns"),
        ("tap,cp\nF1,1\n", "names the columns"),
        ("setup,tap,cp\n", "no tap beneath"),
        ("setup,tap,cp\nA,F1,deep\n", "Line 2: cp must be a number, not “deep”."),
        ("setup,tap,cp\nA,,1\n", "Line 2: tap is empty."),
        ("setup,tap,cp\nA,F1,nan\n", "Line 2: cp must be a number"),
        ("setup,tap,cp\nA,F1,420\n", "is no pressure coefficient"),
        ("setup,tap,cp,u\nA,F1,1,-0.1\n", "u must be above zero"),
        ("setup,tap,cp,run\nA,F1,1,one\n", "run must be a number"),
    ],
)
def test_a_line_that_cannot_be_used_is_named(text: str, said: str) -> None:
    with pytest.raises(StillairError, match=said.replace("(", r"\(")):
        read_taps(text)
