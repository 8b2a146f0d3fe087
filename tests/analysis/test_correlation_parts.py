"""By part: shares, the test that a removal is, and what a device does for its neighbours; and all setups together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.correlated import Pairs
from server.analysis.correlation import correlate_day
from server.analysis.correlation_across import across, day_pairs
from server.analysis.correlation_across_words import across_sentences
from server.analysis.correlation_parts import part_shares, part_tests
from server.analysis.correlation_parts_words import part_sentence
from tests.analysis.correlated_days import case, measured_day

AT = (26.0, 30.0)
WITH, WITHOUT = (1.45, 1.60, 1.90), (1.43, 1.55, 1.60)
"""A device ahead of the rear wing: 0.05 m² of rear downforce on itself, 0.30 m² on the car."""

DEVICE = (0.03, 0.02, 0.05)


def one_part_apart(parts: dict[str, dict[str, bool]] | None = None):  # type: ignore[no-untyped-def]
    day, result = measured_day({"A": WITH, "B": WITHOUT}, rel_u=0.005)
    if parts:
        day = replace(day, setups=tuple(replace(one, parts=parts[one.name]) for one in day.setups))
    cases = [
        case("A", *AT, WITH), case("B", *AT, WITHOUT),
        case("A", *AT, DEVICE, part="deck flap"), case("A", *AT, (0.4, -0.1, 1.1), part="rear wing"),
        case("B", *AT, (0.4, -0.1, 0.9), part="rear wing"),
    ]  # fmt: skip
    found = correlate_day(result, day, cases)
    return part_tests(found.changes, cases, {one.name: one for one in day.setups})


def test_a_device_is_worth_more_on_the_car_than_on_itself() -> None:
    """B lacks the part, in the predictions by part alone: with less without is A less B."""
    rear = next(one for one in one_part_apart() if one.change.quantity == "SCz_rear")
    assert (rear.part, rear.sign) == ("deck flap", -1)
    assert rear.on_itself == pytest.approx(0.05)
    assert rear.whole == pytest.approx(0.30)
    assert rear.on_others == pytest.approx(0.25)
    assert rear.measured == pytest.approx(0.30)
    assert "worth more on the car than on itself" in part_sentence(rear)


def test_a_record_of_the_part_decides() -> None:
    on = {"A": {"deck_flap": True, "rear_wing": True}, "B": {"deck_flap": False, "rear_wing": True}}
    assert {one.part for one in one_part_apart(on)} == {"deck flap"}
    both = {"A": {"deck_flap": True, "rear_wing": True}, "B": {"deck_flap": False, "rear_wing": False}}
    assert one_part_apart(both) == ()  # two parts at once are no test of one


def test_shares_are_of_the_whole_car() -> None:
    cases = [case("A", *AT, WITH), case("A", 22.0, 26.0, WITH), case("A", *AT, DEVICE, part="deck flap")]
    (one,) = part_shares(cases)
    assert one.share["SCz_rear"] == pytest.approx(0.05 / 1.90)


def test_too_few_setups_are_said_and_not_drawn() -> None:
    areas = {name: (1.4 + 0.1 * i, 1.5, 1.7) for i, name in enumerate("AB")}
    day, result = measured_day(areas)
    found = correlate_day(result, day, [case(name, *AT, one) for name, one in areas.items()])
    told = across(day_pairs(result, found.totals, "SCx"))
    assert (told.bias, told.factor, told.line, told.limits) == (None, None, None, None)
    assert sum(line.startswith("2 setups:") for line in across_sentences(told)) == 3


def test_a_bias_a_factor_and_what_it_is_worth() -> None:
    """Ten setups predicted 8 % high: the factor is 1/1.08 and mends a setup left out; the slope is 1.08."""
    rng = np.random.default_rng(2_640_601)
    areas = {f"S{i}": tuple(np.array([1.4, 1.5, 1.7]) * rng.uniform(0.8, 1.2)) for i in range(10)}
    day, result = measured_day(areas, rel_u=0.01, shared=0.0)
    cases = [case(name, *AT, [1.08 * each for each in one], rel_u=0.005) for name, one in areas.items()]
    told = across(day_pairs(result, correlate_day(result, day, cases).totals, "SCx"))
    assert told.relative is not None
    assert told.factor is not None
    assert told.relative.value == pytest.approx(0.08, abs=1e-6)
    assert told.factor.low95 < 1 / 1.08 < told.factor.high95
    assert told.left_out is not None
    assert told.left_out[0] == pytest.approx(0.08, abs=1e-6)
    assert told.left_out[1] < 0.001
    assert told.line is not None
    assert told.line.slope == pytest.approx(1.08, abs=1e-3)
    words = " ".join(across_sentences(told))
    assert "8.0 % high" in words
    assert "worth it" in words


def test_setups_of_different_days_share_what_days_share() -> None:
    from server.analysis.correlation_across import pairs_of

    day, result = measured_day({"A": WITH, "B": WITHOUT}, shared=0.5)
    totals = correlate_day(result, day, [case("A", *AT, WITH), case("B", *AT, WITHOUT)]).totals
    told = [one for one in totals if one.quantity == "SCx"]
    apart: Pairs = pairs_of(
        told, "SCx", {1: result.joint, 2: result.joint}, {"A": 1, "B": 2}, {"A": 0.01, "B": 0.02}
    )
    assert apart.covariance[0, 1] == pytest.approx(0.0002)
    together = day_pairs(result, totals, "SCx")
    assert together.covariance[0, 1] == pytest.approx(0.5 * 0.015**2 * 1.45 * 1.43)
