"""Setups against a baseline: from the joint covariance, one by one and together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.compare import compare, response_over
from server.analysis.compared import quantities_compared, varied_settings
from server.analysis.day_fit import fit_day
from server.analysis.result import DayResult, Joint
from server.analysis.simulate import simulate_day
from server.analysis.simulate_plan import default_plan
from server.errors import StillairError

COVARIANCE = np.array([[4.0, 3.0, 3.0], [3.0, 5.0, 3.5], [3.0, 3.5, 6.0]]) * 1e-4


def made(values: tuple[float, ...] = (1.40, 1.50, 1.41)) -> DayResult:
    joint = Joint(("A", "B", "C"), "m²", np.array(values), COVARIANCE)
    return DayResult("made", {}, (), (), (), joint={"SCx": joint})


def test_a_difference_has_the_variance_of_its_contrast() -> None:
    found = compare(made(), "SCx", "A")
    b, c = found.differences
    assert (b.setup, c.setup) == ("B", "C")
    assert b.value == pytest.approx(0.10)
    assert b.u == pytest.approx(np.sqrt((4.0 + 5.0 - 2 * 3.0) * 1e-4))
    assert b.shared_u == pytest.approx(np.sqrt(3.0e-4))
    # never wider than two independent fits in quadrature
    assert b.u < np.sqrt(9.0e-4)
    assert (b.verdict, c.verdict) == ("higher", "not told")
    assert compare(made(), "SCx", "B").differences[0].value == pytest.approx(-0.10)


def test_together_is_wider_than_alone_and_no_wider_than_bonferroni() -> None:
    found = compare(made(), "SCx", "A")
    assert 1.96 < found.factor < 2.2414  # the 1 − 0.05/4 quantile of the normal: C. E. Bonferroni's bound for two
    for one in found.differences:
        assert one.low_all < one.low95 < one.value < one.high95 < one.high_all
        assert one.p <= one.p_all <= 2.0 * one.p + 0.01


def test_the_fits_own_comparison_is_met() -> None:
    result = fit_day(simulate_day(default_plan(pairs=2), 11).day)
    mine = compare(result, "SCx", "A").differences[0]
    theirs = result.comparisons[0].deltas["SCx"]
    assert mine.value == pytest.approx(theirs.value)
    assert mine.u == pytest.approx(theirs.u)
    assert mine.shared_u == pytest.approx(theirs.shared_u)
    assert mine.p == pytest.approx(theirs.p)
    assert "SCx" in quantities_compared(result)


def test_what_is_not_told_is_said() -> None:
    with pytest.raises(StillairError, match="fit the day again"):
        compare(replace(made(), joint={}), "SCx", "A")
    with pytest.raises(StillairError, match="Setup Z has no SCx"):
        compare(made(), "SCx", "Z")


PARTS = {
    "A": {"flap_deg": 20, "gurney": True},
    "B": {"flap_deg": 25, "gurney": False},
    "C": {"flap_deg": 30, "gurney": 1},
}


def test_only_numbers_that_differ_can_be_varied() -> None:
    found = varied_settings(PARTS, ("A", "B", "C"))
    assert found == {"flap_deg": {"A": 20.0, "B": 25.0, "C": 30.0}}
    assert varied_settings({"A": {"flap_deg": 20}, "B": {}}, ("A", "B")) == {}
    assert varied_settings({"A": {"flap_deg": 20}, "B": {"flap_deg": 20}}, ("A", "B")) == {}
    assert varied_settings({}, ()) == {}


def test_a_curve_over_a_setting_goes_through_three_setups() -> None:
    flap = varied_settings(PARTS, ("A", "B", "C"))["flap_deg"]
    varied = response_over(made((1.40, 1.50, 1.41)), "SCx", "flap_deg", flap)
    x, value, u = (column[::50] for column in varied.curve)
    assert varied.setups == ("A", "B", "C")
    assert x == pytest.approx([20.0, 25.0, 30.0])
    assert value == pytest.approx([1.40, 1.50, 1.41])
    assert u == pytest.approx(np.sqrt(np.diag(COVARIANCE)))
    assert varied.largest.setting is not None
    assert varied.smallest.setting is None
    assert 24.5 < varied.largest.setting[0] < 26.0


def test_too_few_settings_are_said() -> None:
    with pytest.raises(StillairError, match="needs 3 different settings; this day has 2"):
        response_over(made(), "SCx", "flap_deg", {"A": 1.0, "B": 2.0, "C": 2.0})
