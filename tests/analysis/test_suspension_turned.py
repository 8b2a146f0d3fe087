"""When a motion ratio counts as entered upside down, by what launches and ride heights tell of both axles."""

from __future__ import annotations

import pytest

from server.analysis.result import AxleEnd
from server.analysis.suspension_ratio import RatioCheck
from server.analysis.suspension_turned import FITS, Evidence
from server.testday.values import Quantity

RATIO = 1.25  # as entered; turned over 0.8, MR² 1.5625


def launch(value: float, u: float = 0.1) -> Quantity:
    return Quantity(value, u, "measured")


def check(measured: float, end: AxleEnd = "front") -> RatioCheck:
    """Entered 1.3, turned over 1.6, each ± 0.03; measured ± 0.04: together ± 0.05."""
    return RatioCheck(end, Quantity(measured, 0.04), Quantity(1.3, 0.03), Quantity(1.6, 0.03))


def test_misfits_are_sums_of_squares_over_u() -> None:
    one = Evidence("front", RATIO, launch(1.4625), check(1.5))
    assert one.wrong == pytest.approx(4.625**2 + 4.0**2)
    assert one.right == pytest.approx(1.0 + 2.0**2)
    assert one.turned


@pytest.mark.parametrize(
    ("one", "why"),
    [
        (Evidence("front", RATIO, launch(1.0), None), "the entries fit"),
        (Evidence("front", 1.03, launch(1.06, 0.001), None), "near 1 it is as good upside down"),
        (Evidence("front", RATIO, launch(2.2), None), "neither fits: something else is wrong"),
        (Evidence("front", RATIO, launch(RATIO**2), check(1.3)), "launches for it, heights against it"),
    ],
)
def test_what_does_not_speak_for_a_ratio_upside_down(one: Evidence, why: str) -> None:
    assert not one.turned, why


def test_what_fits_badly_either_way_is_not_taken_for_it() -> None:
    one = Evidence("front", RATIO, launch(RATIO**2 + 0.1 * (FITS + 0.1) ** 0.5), None)
    assert one.right > FITS
    assert not one.turned
