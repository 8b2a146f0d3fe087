"""Setups over days from whole results: what days share, what is left out and why, what more days would do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from server.analysis.compare_days import compare_days, shared_loads
from server.analysis.compared_days import ComparedDays, OverDaysDifference, ResultOfDay
from server.analysis.result import BudgetLine, DayResult, Estimate, Joint, SetupResult
from server.errors import StillairError

SCALE_U, C0, SCZ_U, OWN_U = 0.01, 0.02, 0.3, 0.012


def line(name: str, contribution: float, sign: float = 1.0, kind: str = "B") -> BudgetLine:
    return BudgetLine("SCx", name, 1.0, 0.1, "1", 10.0 * sign * contribution, contribution, kind, "typed")  # type: ignore[arg-type]


def made(key: int, areas: Mapping[str, float], own_u: float = OWN_U, stated_scz: bool = False) -> ResultOfDay:
    """A day whose areas share a scale of 1 % and, where SCz was stated for each setup, have an error of their own."""
    loads = np.array([[SCALE_U * area, 0.004] for area in areas.values()])
    each = C0 * SCZ_U if stated_scz else 0.0
    covariance = loads @ loads.T + (own_u**2 + each**2) * np.eye(len(areas))
    setups = []
    for name, area in areas.items():
        budget = [line("speed scale", SCALE_U * area), line("mass", 0.004, -1.0), line("mean wind of each pass", 0.004)]
        budget += [line("gusts", own_u, kind="A")] + ([line(f"SCz of {name}", each, -1.0)] if stated_scz else [])
        estimate = Estimate(area, 0.02, area - 0.04, area + 0.04, "m²", "measured")
        setups.append(SetupResult(name, {"SCx": estimate}, (), budget=tuple(budget)))
    joint = Joint(tuple(areas), "m²", np.array(list(areas.values())), covariance)
    result = DayResult(f"day {key}", {}, tuple(setups), (), (), joint={"SCx": joint})
    return ResultOfDay(key, f"day {key}", result, {name: name for name in areas})


def only(compared: ComparedDays, setup: str = "B") -> OverDaysDifference:
    return next(one for one in compared.differences if one.setup == setup)


def test_loads_are_what_is_stated_and_the_same_on_every_day() -> None:
    loads = shared_loads(made(1, {"A": 1.4}, stated_scz=True), "A", "SCx")
    assert loads == pytest.approx({"speed scale": 0.014, "mass": -0.004, "SCz of A": -0.006})


def test_what_a_difference_keeps_of_the_shared_errors() -> None:
    """The scale leaves |Δ| u_k; a downforce stated for each setup leaves c0 √2 u(SCz); a mass of both cancels."""
    many = [made(key, {"A": 1.40, "B": 1.50}, stated_scz=True) for key in range(9)]
    kept = only(compare_days(many, "SCx", "A", 0.03)).shared_u
    assert kept == pytest.approx(math.hypot(0.10 * SCALE_U, C0 * math.sqrt(2.0) * SCZ_U), rel=1e-3)
    alike = [made(key, {"A": 1.40, "B": 1.50}) for key in range(9)]
    assert only(compare_days(alike, "SCx", "A", 0.03)).shared_u == pytest.approx(0.10 * SCALE_U, rel=1e-3)


def test_days_beneath_the_combined_value_and_who_ran_what() -> None:
    days = [made(1, {"A": 1.40, "B": 1.52}), made(2, {"A": 1.43}), made(3, {"B": 1.50, "A": 1.41})]
    found = compare_days(days, "SCx", "A", 0.03)
    one = only(found)
    assert [(day.key, day.ran) for day in one.days] == [(1, ""), (2, "A"), (3, "")]
    assert [day.key for day in one.both] == [1, 3]
    assert one.days[0].value == pytest.approx(0.12)
    assert one.days[0].u == pytest.approx(math.hypot(OWN_U * math.sqrt(2.0), 0.0012), rel=1e-6)
    assert 0.09 < one.value < 0.105  # day 2 says that A is more than days 1 and 3 had it
    assert one.verdict == "higher"
    assert found.days == 3
    assert only(compare_days(days, "SCx", "B", 0.03), "A").value == pytest.approx(-one.value, abs=1e-9)


def test_a_day_unlike_the_others_is_named_after_correction_for_their_number() -> None:
    days = [made(key, {"A": 1.40, "B": 1.50 + 0.004 * (key % 3)}, 0.005) for key in range(7)]
    one = only(compare_days([*days, made(9, {"A": 1.40, "B": 1.62}, 0.005)], "SCx", "A", 0.03))
    strange = {day.key: day.apart_p for day in one.days}
    assert strange[9] is not None
    assert strange[9] < 0.05
    assert all(p is not None and p > 0.3 for key, p in strange.items() if key != 9)


def test_several_changes_are_judged_together() -> None:
    days = [made(key, {"A": 1.40, "B": 1.44, "C": 1.48, "D": 1.36}) for key in range(4)]
    found = compare_days(days, "SCx", "A", 0.03)
    assert found.factor > 1.05
    assert all(one.u95_all == pytest.approx(found.factor * one.u95) for one in found.differences)
    assert all(one.p <= one.p_all <= 1.0 for one in found.differences)


def test_more_days_are_advised_where_the_wanted_interval_is_not_reached() -> None:
    days = [made(1, {"A": 1.40, "B": 1.42}, 0.03), made(2, {"A": 1.41, "B": 1.44}, 0.03)]
    one = only(compare_days(days, "SCx", "A", 0.03))
    assert one.verdict == "not told"
    assert one.days_wanted is not None
    assert one.days_wanted > 2
    assert one.days_told is not None
    assert one.days_told > 2
    sharp = [made(key, {"A": 1.40, "B": 1.60}, 0.002) for key in range(6)]
    assert only(compare_days(sharp, "SCx", "A", 0.03)).days_wanted is None


def test_what_tells_nothing_is_left_out_with_its_reason() -> None:
    days = [made(key, {"A": 1.40, "B": 1.50}) for key in (1, 2)]
    old = replace(days[0], words="old", result=replace(days[0].result, joint={}))
    unsplit = tuple(replace(one, budget=()) for one in days[0].result.setups)
    found = compare_days(
        [*days, old, replace(days[0], words="bare", result=replace(days[0].result, setups=unsplit))], "SCx", "A", 0.03
    )
    assert found.days == 2
    assert [words for words, _ in found.left_out] == ["old", "bare"]
    assert all("fit it again" in why for _, why in found.left_out)


def test_nothing_to_compare_is_refused_in_words() -> None:
    with pytest.raises(StillairError, match="No chosen day measured SCx of A"):
        compare_days([made(1, {"B": 1.5})], "SCx", "A", 0.03)
    with pytest.raises(StillairError, match="other than A"):
        compare_days([made(1, {"A": 1.5})], "SCx", "A", 0.03)
    with pytest.raises(StillairError, match="measured SCz of A"):
        compare_days([made(1, {"A": 1.5, "B": 1.4})], "SCz", "A", 0.03)
