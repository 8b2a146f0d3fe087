"""Measured beside predicted on days made by hand: u_val by the standard's formula, verdicts, like for like, silence."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from server.analysis.correlated import Correlated, Margins
from server.analysis.correlation import correlate_day, judge
from server.analysis.correlation_json import correlation_to_json
from server.analysis.correlation_words import day_sentence, sentence
from server.testday.values import Quantity
from tests.analysis.correlated_days import case, measured_day, nine_cases

AREAS = {"A": (1.42, 1.55, 1.75), "B": (1.53, 1.45, 2.15)}
AT = (26.0, 30.0)


def one(found: tuple[Correlated, ...], setup: str, quantity: str) -> Correlated:
    return next(each for each in found if (each.setup, each.quantity) == (setup, quantity))


def test_u_val_is_the_standards() -> None:
    """ASME V&V 20-2009: E = S − D, u_val² = u_num² + u_input² + u_D²; S 1.42, D 1.50, u 0.02, 0.03, 0.04: E −0.08,
    u_val 0.053852 (by hand)."""
    day, result = measured_day({"A": (1.50, 1.0, 1.0)}, rel_u=0.04 / 1.50)
    slope = 0.03 / 0.0003 / math.sqrt(2.0)  # per metre, so that heights ± 0.3 mm give u_input 0.03
    cases = [
        replace(case("A", f, r, (1.42 + slope * ((f - 26) + (r - 30)) / 1e3, 1.0, 1.0)), scx_m2=Quantity(
            1.42 + slope * ((f - 26) + (r - 30)) / 1e3, 0.02, "predicted"))
        for f in (22, 25, 30) for r in (26, 31, 34)
    ]  # fmt: skip
    found = one(correlate_day(result, day, cases).totals, "A", "SCx")
    assert pytest.approx(-0.08, abs=1e-9) == found.E
    assert (found.u_num, found.u_input, found.measured.u) == pytest.approx((0.02, 0.03, 0.04), abs=1e-6)
    assert found.u_val == pytest.approx(0.053852, abs=1e-6)


@pytest.mark.parametrize(
    ("error", "u", "verdict", "beyond"),
    [
        (0.01, 0.01, "agrees", False),  # −0.010 to 0.030 within 0.05
        (0.03, 0.005, "agrees", False),  # surely off, and surely by less than what is allowed
        (0.06, 0.02, "prediction-high", False),  # 0.021 to 0.099
        (0.20, 0.02, "prediction-high", True),
        (-0.06, 0.02, "prediction-low", False),
        (-0.20, 0.02, "prediction-low", True),
        (0.01, 0.03, "cannot-tell", False),  # −0.049 to 0.069
        (0.0, 0.026, "cannot-tell", False),  # −0.051 to 0.051
    ],
)
def test_the_rule(error: float, u: float, verdict: str, beyond: bool) -> None:
    assert judge(error, u, 0.05) == (verdict, beyond)


def test_predictions_are_told_at_the_cars_ride_heights() -> None:
    """Cases on a slope of 0.5 % a mm: 2 mm lower over both axles than the middle case is 2 % more of everything."""
    day, result = measured_day(AREAS, heights_m={"A": (0.024, 0.028), "B": (0.026, 0.030)})
    found = correlate_day(result, day, [*nine_cases("A", AREAS["A"]), *nine_cases("B", AREAS["B"])])
    assert one(found.totals, "A", "SCz_front").predicted == pytest.approx(1.55 * 1.02)
    assert one(found.totals, "B", "SCz_front").predicted == pytest.approx(1.45)
    assert one(found.totals, "A", "SCz_front").u_input == pytest.approx(1.55 * 0.005 * 0.3 * math.sqrt(2), rel=1e-6)


def test_outside_the_cases_there_is_no_number() -> None:
    day, result = measured_day(AREAS, heights_m={"A": (0.026, 0.030), "B": (0.026, 0.038)})
    found = correlate_day(result, day, [*nine_cases("A", AREAS["A"]), *nine_cases("B", AREAS["B"])])
    outside = one(found.totals, "B", "SCx")
    assert (outside.verdict, outside.predicted) == ("extrapolated", None)
    assert "26 to 34 mm rear" in sentence(outside, 0.05)
    entry = next(e for e in correlation_to_json(found)["correlation"] if e["setup"] == "B")
    assert not {"predicted", "E", "u_val"} & set(entry)
    assert one(found.totals, "A", "SCx").verdict == "agrees"
    assert {each.verdict for each in found.changes} == {"extrapolated"}


def test_one_case_elsewhere_is_carried_as_the_baselines_cases_change() -> None:
    """B has one case 3 mm too high; A's map says 1.5 % a total for those 3 mm, half of the step is its u."""
    heights = {"A": (0.026, 0.030), "B": (0.023, 0.030)}
    day, result = measured_day(AREAS, heights_m=heights)
    cases = [*nine_cases("A", AREAS["A"]), case("B", *AT, AREAS["B"])]
    found = one(correlate_day(result, day, cases).totals, "B", "SCz_rear")
    assert found.predicted == pytest.approx(2.15 * 1.015, rel=1e-9)
    assert found.u_fit == pytest.approx(0.5 * 2.15 * 0.015, rel=1e-6)
    assert "another setup's cases" in found.how
    alone = one(correlate_day(result, day, [case("B", *AT, AREAS["B"])]).totals, "B", "SCz_rear")
    assert alone.verdict == "extrapolated"


def test_a_case_without_ride_heights_is_said_to_be_independent_of_them() -> None:
    day, result = measured_day(AREAS)
    found = one(correlate_day(result, day, [case("A", None, None, AREAS["A"])]).totals, "A", "SCx")
    assert (found.predicted, found.u_input) == (pytest.approx(1.42), 0.0)
    assert any("independent" in note for note in found.notes)


def test_unknown_ride_heights_make_the_prediction_as_wide_as_its_cases() -> None:
    day, result = measured_day(AREAS)
    bare = {name: each for name, each in result.setups[0].estimates.items() if not name.startswith("ride_height")}
    result = replace(result, setups=(replace(result.setups[0], estimates=bare),))
    day = replace(day, setups=(replace(day.setups[0], front_ride_height_m=None),))
    cases = nine_cases("A", AREAS["A"])
    found = one(correlate_day(result, day, cases).totals, "A", "SCx")
    told = [each.scx_m2.value for each in cases if each.scx_m2 is not None]
    assert found.u_input == pytest.approx(float(np.std(told, ddof=1)))


def test_standing_ride_heights_are_carried_down_the_springs() -> None:
    """q = ½ 1.2 22² = 290 N/m²; front 1.55 m² press 450 N into K = 2 · 39 · 0.92² = 66.0 N/mm over tyres of 180 N/mm:
    9.3 mm less than 34 mm (by hand)."""
    day, result = measured_day(AREAS)
    bare = {name: each for name, each in result.setups[0].estimates.items() if not name.startswith("ride_height")}
    result = replace(result, setups=(replace(result.setups[0], estimates=bare),))
    found = correlate_day(result, day, nine_cases("A", AREAS["A"]))
    front = found.heights["A"].front
    assert front is not None
    assert front.value == pytest.approx(0.034 - 0.00932, abs=5e-5)
    assert front.u > 0.001


def test_a_typed_or_predicted_downforce_gets_no_verdict() -> None:
    cases = nine_cases("A", AREAS["A"])
    for source, word in (("typed", "typed in"), ("predicted", "the prediction itself")):
        day, result = measured_day(AREAS, source=source)  # type: ignore[arg-type]
        found = correlate_day(result, day, cases)
        assert {each.quantity for each in found.totals} == {"SCx"}
        assert {each.quantity for each in found.silent} == {"SCz_front", "SCz_rear", "SCz", "balance_front", "LD"}
        assert all(word in each.why for each in found.silent)
        assert "rolling" in found.told[0]


def test_an_area_without_a_stated_numerical_u_gets_a_default_and_says_so() -> None:
    day, result = measured_day(AREAS)
    found = one(correlate_day(result, day, nine_cases("A", AREAS["A"], rel_u=0.0)).totals, "A", "SCx")
    assert found.u_num == pytest.approx(0.02 * 1.42, rel=1e-6)
    assert any("nobody stated" in note for note in found.notes)


def test_a_change_is_sharper_than_its_totals_where_errors_are_shared() -> None:
    """u of the measured change from the joint posterior; numerical errors independent unless ρ is stated."""
    day, result = measured_day(AREAS, shared=0.9)
    cases = [*nine_cases("A", AREAS["A"]), *nine_cases("B", AREAS["B"])]
    change = one(correlate_day(result, day, cases).changes, "B", "SCx")
    ua, ub = 0.015 * 1.42, 0.015 * 1.53
    assert change.against == "A"
    assert change.measured.u == pytest.approx(math.sqrt(ua**2 + ub**2 - 2 * 0.9 * ua * ub), rel=1e-9)
    assert change.u_num == pytest.approx(0.01 * math.hypot(1.42, 1.53), rel=1e-6)
    assert "independent" in change.notes[-1]
    stated = one(correlate_day(result, day, cases, Margins(numerical_correlation=0.9)).changes, "B", "SCx")
    assert stated.u_num == pytest.approx(0.01 * math.sqrt(1.42**2 + 1.53**2 - 1.8 * 1.42 * 1.53), rel=1e-6)
    others = [replace(each, source="other mesh") if each.setup == "B" else each for each in cases]
    apart = one(correlate_day(result, day, others, Margins(numerical_correlation=0.9)).changes, "B", "SCx")
    assert apart.u_num == pytest.approx(change.u_num)


def test_parts_and_other_setups_are_left_alone() -> None:
    day, result = measured_day(AREAS)
    parts = [case("A", *AT, (0.3, 0.1, 0.9), part="rear wing"), case("Z", *AT, AREAS["A"])]
    assert correlate_day(result, day, parts).totals == ()
    whole = correlate_day(result, day, [*parts, case("A", *AT, AREAS["A"])])
    assert one(whole.totals, "A", "SCx").predicted == pytest.approx(1.42)


def test_a_total_without_a_split_tells_scz_alone() -> None:
    day, result = measured_day(AREAS)
    bare = replace(case("A", *AT, AREAS["A"]), scz_front_m2=None, scz_rear_m2=None, scz_m2=Quantity(3.3, 0.03))
    found = correlate_day(result, day, [bare])
    assert {each.quantity for each in found.totals} == {"SCx", "SCz", "LD"}
    assert one(found.totals, "A", "SCz").predicted == pytest.approx(3.3)


def test_balance_and_ld_are_made_of_the_areas_with_their_u() -> None:
    """By differences: u of a ratio from those of its areas."""
    day, result = measured_day(AREAS)
    found = correlate_day(result, day, [case("A", *AT, AREAS["A"])])
    balance, ld = (one(found.totals, "A", name) for name in ("balance_front", "LD"))
    assert (balance.predicted, ld.predicted) == pytest.approx((1.55 / 3.3, 3.3 / 1.42))
    steps = np.diag([0.0142, 0.0155, 0.0175])
    moved = np.array([1.42, 1.55, 1.75]) + np.vstack([np.zeros(3), 1e-4 * steps])
    shares = moved[:, 1] / (moved[:, 1] + moved[:, 2])
    assert balance.u_num == pytest.approx(float(np.linalg.norm(shares[1:] - shares[0])) * 1e4, rel=1e-3)


def test_sentences_say_it_with_numbers() -> None:
    day, result = measured_day({"A": (1.42, 1.0, 1.0)}, rel_u=0.01)
    found = correlate_day(result, day, [case("A", *AT, (1.55, 1.0, 1.0))])
    told = sentence(one(found.totals, "A", "SCx"), 0.05)
    assert told == (
        "A: SCx measured 1.420 ± 0.028 m², predicted 1.550 ± 0.030 m²: prediction 9.2 % high, more than the data can "
        "excuse, and surely more than the 5 % allowed."
    )
    assert "Look first at A: SCx" in day_sentence(found)
    agreed = sentence(one(found.totals, "A", "SCz"), 0.05)
    assert agreed.endswith("they agree within 5 %.")


def test_json_holds_what_the_standard_names() -> None:
    day, result = measured_day(AREAS)
    told = correlation_to_json(correlate_day(result, day, [*nine_cases("A", AREAS["A"]), *nine_cases("B", AREAS["B"])]))
    for entry in (*told["correlation"], *told["correlation_changes"]):
        assert entry["E"] == pytest.approx(entry["predicted"]["value"] - entry["measured"]["value"])
        assert entry["u_val"] == pytest.approx(math.hypot(entry["predicted"]["u"], entry["measured"]["u"]))
        parts = (entry["u_num"], entry["u_input"], entry["u_D"])
        assert entry["u_val"] == pytest.approx(math.hypot(*parts))
        assert entry["verdict"] in {"agrees", "prediction-high", "prediction-low", "cannot-tell", "extrapolated"}
    assert {entry["against"] for entry in told["correlation_changes"]} == {"A"}
