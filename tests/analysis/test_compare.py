"""Setups against a baseline: from the joint covariance, one by one and together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from server.analysis.compare import compare, response_over, surface_over
from server.analysis.compared import Surface, pairs_varied, quantities_compared, settings_of, varied_settings
from server.analysis.day_fit import fit_day
from server.analysis.result import DayResult, Joint
from server.analysis.simulate import simulate_day
from server.analysis.simulate_plan import default_plan
from server.errors import StillairError
from server.inference.response import fit_response, region
from server.testday.values import Setup

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


SQUARE = [(flap, height) for flap in (20.0, 25.0, 30.0) for height in (30.0, 33.0, 36.0)]
PLACES = dict(zip("ABCDEFGHI", SQUARE, strict=True))


def hill(flap: float, height: float, across: float = -0.001) -> float:
    """Largest at 26, 32 where `across` is below zero; a saddle there where it is above."""
    return 1.5 - 0.004 * (flap - 26.0) ** 2 + across * (height - 32.0) ** 2 + 0.0005 * (flap - 26.0) * (height - 32.0)


def over_two(areas: dict[str, float], own: float = 1e-6) -> Surface:
    covariance = 3e-4 + own * np.eye(len(areas))
    joint = Joint(tuple(areas), "m²", np.array(list(areas.values())), covariance)
    result = DayResult("day", {}, (), (), (), joint={"SCx": joint})
    return surface_over(result, "SCx", ("flap_deg", "height_mm"), {name: PLACES[name] for name in areas})


def test_a_surface_over_two_settings_finds_its_best() -> None:
    found = over_two({name: hill(*at) for name, at in PLACES.items()})
    assert found.inside
    assert found.shape.bend == "largest"
    assert found.best is not None
    assert found.best.setting == pytest.approx([26.0, 32.0], abs=1e-6)
    assert found.best.bounded
    assert np.all(np.isfinite(found.surface))  # the places fill the whole box
    assert found.lack_p > 0.99


def test_a_saddle_and_a_best_outside_are_no_best() -> None:
    saddle = over_two({name: hill(*at, across=0.01) for name, at in PLACES.items()})
    assert saddle.shape.bend == "saddle"
    assert saddle.shape.sure
    assert saddle.best is None
    assert not saddle.inside
    away = over_two({name: hill(at[0] - 9.0, at[1]) for name, at in PLACES.items()})
    assert away.shape.bend == "largest"
    assert away.shape.sure
    assert not away.inside


def test_nothing_is_told_outside_of_what_was_tried() -> None:
    """Without its corners the square is a diamond: the surface is drawn there and nowhere else."""
    rim = {name: PLACES[name] for name in "BDEFH"} | {"A": (22.5, 31.5)}
    found = surface_over(
        DayResult("day", {}, (), (), (), joint={"SCx": Joint(tuple(rim), "m²", np.ones(6), 1e-4 * np.eye(6))}),
        "SCx", ("flap_deg", "height_mm"), rim,
    )  # fmt: skip
    assert np.isnan(found.surface[0, 0])
    assert np.isnan(found.surface[-1, -1])
    assert np.isfinite(found.surface[20, 20])


def test_five_setups_are_too_few_for_two_settings() -> None:
    with pytest.raises(StillairError, match="needs 6 setups at different places"):
        over_two(dict.fromkeys("ACEGI", 1.4))


def test_a_noisy_flat_surface_is_not_said_to_have_a_best() -> None:
    """95 % regions of a surface without a best: bounded on few of 30 days (fresh seeds 2,605,001 …)."""
    said = 0
    for seed in range(2_605_001, 2_605_031):
        noise = np.random.default_rng(seed).normal(0.0, 0.02, 9)
        found = over_two({name: 1.4 + float(e) for name, e in zip(PLACES, noise, strict=True)}, 4e-4)
        said += bool(found.inside and found.best and found.best.bounded)
    assert said <= 4


def test_the_best_lies_in_its_region_as_often_as_said() -> None:
    """The region of a hill's top holds it on 95 % of 200 days (99 % range), each axis's bounds on at least as many."""
    held, days = 0, 200
    for seed in range(2_606_001, 2_606_001 + days):
        noise = np.random.default_rng(seed).normal(0.0, 0.004, 9)
        areas = {name: hill(*at) + float(e) for (name, at), e in zip(PLACES.items(), noise, strict=True)}
        covariance = 1.6e-5 * np.eye(9)
        fitted = fit_response(np.array(list(PLACES.values())), np.array(list(areas.values())), covariance)
        held += bool(region(fitted, np.array([[26.0, 32.0]]))[0])
    low, high = binom.ppf([0.005, 0.995], days, 0.95)
    assert low <= held <= high


def test_standing_ride_heights_are_settings_and_pairs_need_places_that_span_a_surface() -> None:
    setup = Setup("A", None, 0.034, 0.038, parts={"flap_deg": 20})
    assert settings_of(setup) == {"flap_deg": 20, "front_ride_height_mm": 34.0, "rear_ride_height_mm": 38.0}
    flap, height = ({name: at[k] for name, at in PLACES.items()} for k in (0, 1))
    assert pairs_varied({"flap_deg": flap, "height_mm": height}) == (("flap_deg", "height_mm"),)
    along = {name: at[0] + 1.0 for name, at in PLACES.items()}
    assert pairs_varied({"flap_deg": flap, "other": along}) == ()
