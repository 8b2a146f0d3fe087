"""What to run next, told in numbers from what a fit expects of more passes."""

from __future__ import annotations

from typing import Any

import pytest

from server.results.next_run import Goal, Ground, brings, next_run, reach
from server.results.next_step import Standing


def at(out: int, back: int, random: float = 1e-3, stated: float = 1e-4) -> Standing:
    return Standing(out + back, out, back, 0.03, 0.06, random, stated, "car mass (kg)", "typed")


def outlook(setup: str, shrink: dict[int, float], target: str = "B − A") -> list[dict[str, Any]]:
    return [
        {"added": [{"setup": setup, "out": (n + 1) // 2, "back": n // 2}], "shrink": {target: s}}
        for n, s in shrink.items()
    ]


SUMMARY: dict[str, Any] = {
    "outlook": [
        *outlook("B", {1: 0.95, 2: 0.9, 3: 0.8, 4: 0.7, 6: 0.6}),
        *outlook("A", {1: 0.97, 2: 0.94, 4: 0.85}),
        {"added": [{"setup": "B", "out": 1, "back": 0}, {"setup": "A", "out": 1, "back": 0}], "shrink": {"B − A": 0.6}},
    ],
    "gust_sd": 0.9,
}
GOAL = Goal("B", "A", 0.06, 0.049)
BALANCED = {"A": at(4, 4), "B": at(2, 3)}


def test_the_fewest_passes_that_reach_the_wanted_width() -> None:
    found = reach(SUMMARY, Goal("B", "A", 0.06, 0.05), BALANCED)
    assert found is not None
    assert found.added == (("B", 1, 0), ("A", 1, 0))
    alone = reach(SUMMARY, Goal("B", "A", 0.06, 0.055), BALANCED)
    assert alone is not None
    assert alone.added == (("B", 2, 0),)
    advice = next_run({**SUMMARY, "outlook": SUMMARY["outlook"][:-1]}, [GOAL], BALANCED, Ground())
    assert advice.text == "two more out and one back of B bring B − A from ± 0.060 to ± 0.048 m²"
    assert (advice.kind, advice.passes) == ("more", "two more out and one back of B")


def test_between_the_numbers_that_were_tried_information_grows_evenly() -> None:
    five = reach({"outlook": outlook("B", {4: 0.7, 6: 0.6})}, Goal("B", "A", 0.06, 0.06 * 0.645), BALANCED)
    assert five is not None
    assert five.total == 5
    assert five.u95 == pytest.approx(0.06 / ((0.7**-2 + 0.6**-2) / 2) ** 0.5)


def test_what_cannot_be_reached_is_no_promise() -> None:
    advice = next_run(SUMMARY, [Goal("B", "A", 0.06, 0.02)], BALANCED, Ground())
    assert advice.kind == "limit"
    assert advice.text.startswith("wait for less wind, or pack up: ")
    assert advice.text.endswith(" m², with gusts of 0.9 m/s in every pass")
    assert advice.passes == ""


def test_a_stated_input_that_limits_is_named() -> None:
    summary = {"outlook": outlook("B", {2: 0.99}, "B")}
    advice = next_run(summary, [Goal("B", "", 0.06, 0.03)], {"B": at(4, 4, 1e-4, 1e-3)}, Ground())
    assert advice.text.startswith("measure or state car mass more closely rather than run more: ")


def test_directions_out_of_balance_come_before_more_passes() -> None:
    advice = next_run(SUMMARY, [GOAL], {"A": at(4, 4), "B": at(5, 3)}, Ground())
    assert advice.text == "two more back of B: 5 went out and 3 back, so wind and slope do not cancel"


def test_wind_over_the_limit_stops_everything() -> None:
    advice = next_run(SUMMARY, [GOAL], BALANCED, Ground(halts=("Wind of 6.1 m/s was read",)))
    assert (advice.kind, advice.text) == ("wait", "wait, or pack up: Wind of 6.1 m/s was read")


def test_enough_a_missing_bracket_an_idle_setup() -> None:
    done = [Goal("B", "A", 0.04, 0.05)]
    assert next_run(SUMMARY, done, BALANCED, Ground()).kind == "enough"
    open_end = next_run(SUMMARY, done, BALANCED, Ground(baseline="A", unclosed="B", idle=("C",)))
    assert open_end.text.startswith("the baseline A once more, two out and two back: B was driven last")
    assert next_run(SUMMARY, done, BALANCED, Ground(idle=("C",))).text.startswith("C, out and back")


def test_a_table_says_it_shortly() -> None:
    assert brings(SUMMARY, Goal("B", "A", 0.06, 0.05), BALANCED).endswith("m²")
    assert GOAL.words == "has ± 0.060 m², wants ± 0.049 m²"
