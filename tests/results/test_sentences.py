"""The sentence first: what it says, and what it tells to do next."""

from __future__ import annotations

import dataclasses
import math

import pytest

from server.analysis.result import DayResult, SetupResult
from server.results.next_step import more_each_way, next_step, used_coast_downs
from server.results.sentences import comparison_sentences, setup_sentences, shared_step
from server.testday.values import Finding
from tests.web.made_up import delta, made_up_day_result


@pytest.fixture
def setup() -> SetupResult:
    return made_up_day_result("B").setups[0]


def with_u(setup: SetupResult, u: float) -> SetupResult:
    old = setup.estimates["SCx"]
    half = 1.96 * u
    new = dataclasses.replace(old, u=u, low95=old.value - half, high95=old.value + half)
    return dataclasses.replace(setup, estimates={**setup.estimates, "SCx": new})


def directions(setup: SetupResult, *wanted: int) -> SetupResult:
    model = setup.passes[0]
    passes = tuple(dataclasses.replace(model, direction=one, start_s=float(i)) for i, one in enumerate(wanted))
    return dataclasses.replace(setup, passes=passes)


def test_the_sentence_holds_value_interval_unit_and_count() -> None:
    (sentence,) = setup_sentences(made_up_day_result("B"), 0.05)
    assert sentence.text == ("Setup B: SCx 1.380 ± 0.041 m² from 8 coast-downs; that is within the wanted ± 0.05 m².")


def test_what_is_the_same_for_all_is_said_once() -> None:
    assert shared_step(setup_sentences(made_up_day_result("AB"), 0.05)) == "that is within the wanted ± 0.05 m²"
    assert shared_step(setup_sentences(made_up_day_result("A"), 0.05)) == ""
    one, other = setup_sentences(made_up_day_result("AB"), 0.05)
    assert shared_step([one, dataclasses.replace(other, step="two more back")]) == ""
    assert shared_step([one, dataclasses.replace(other, value="")]) == ""


def test_no_area_is_said_with_its_reason() -> None:
    result = made_up_day_result("B")
    bare = dataclasses.replace(result.setups[0], estimates={}, passes=(), fits=())
    stop = Finding("no-area", "stop", "Setup B has no coast-down.")
    result = dataclasses.replace(result, setups=(bare,), findings=(stop,))
    (sentence,) = setup_sentences(result)
    assert sentence.text == (
        "Setup B: no drag area can be had. Setup B has no coast-down. "
        "Next: run coast-downs in both directions of the straight."
    )


def test_one_setup_does_not_speak_with_anothers_reason() -> None:
    result = made_up_day_result("AB")
    bare = dataclasses.replace(result.setups[0], estimates={}, passes=())
    stop = Finding("no-area", "stop", "Setup B has no coast-down.")
    result = dataclasses.replace(result, setups=(bare, result.setups[1]), findings=(stop,))
    assert "Setup B has" not in setup_sentences(result)[0].text


@pytest.mark.parametrize(
    ("ways", "words"),
    [
        ((1, 1, 1), "all went out: run as many the other way before trusting it"),
        ((-1,), "all went back: run as many the other way before trusting it"),
        ((1, 1, 1, -1), "two more back would balance the directions"),
        ((1, -1, -1, -1, -1), "three more out would balance the directions"),
    ],
)
def test_directions_come_first(setup: SetupResult, ways: tuple[int, ...], words: str) -> None:
    assert next_step(directions(setup, *ways)) == words


def test_only_used_coast_downs_count(setup: SetupResult) -> None:
    assert used_coast_downs(setup) == (8, 4, 4)


def test_the_passes_it_names_would_do(setup: SetupResult) -> None:
    """u²(n) = A n₀/n + B: with what it names the interval is narrow enough, with one pair less it is not."""
    setup = with_u(setup, 0.021)
    lines = setup.budget
    a = sum(line.contribution**2 for line in lines if line.type == "A")
    b = sum(line.contribution**2 for line in lines if line.type == "B")
    scale = 0.021**2 / (a + b)
    for wanted in (0.040, 0.038, 0.036, 0.034):
        more = more_each_way(setup, setup.estimates["SCx"], wanted)
        assert more is not None

        def u95(n: float) -> float:
            return 1.96 * math.sqrt(scale * (a * 8 / n + b))

        assert u95(8 + 2 * more) <= wanted < u95(8 + 2 * (more - 1))


def test_what_passes_cannot_reach_names_what_to_measure(setup: SetupResult) -> None:
    assert next_step(setup, 0.01) == (
        "more passes alone will not reach the wanted ± 0.01 m²; "
        "the largest stated part is driveline drag slope: it was not given, measure it"
    )


def test_without_a_budget_no_number_of_passes_is_promised(setup: SetupResult) -> None:
    bare = dataclasses.replace(setup, budget=())
    assert next_step(bare) == "more passes alone will not reach the wanted ± 0.03 m²"


def compared(value: float) -> str:
    result: DayResult = made_up_day_result("AB")
    comparison = dataclasses.replace(result.comparisons[0], deltas={"SCx": delta(value)})
    return comparison_sentences(dataclasses.replace(result, comparisons=(comparison,)))[0]


def test_changes_are_said_with_sign_and_meaning() -> None:
    assert compared(-0.14) == "B against A: SCx −0.140 ± 0.034 m² (p < 0.001): less drag than A."
    assert compared(0.14).startswith("B against A: SCx +0.140 ± 0.034 m² (p < 0.001): more drag")
    assert compared(0.01) == (
        "B against A: SCx +0.010 ± 0.034 m² (p = 0.310): no change that this day could tell; "
        "it would have seen 0.048 m²."
    )
