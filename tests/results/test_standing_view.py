"""Where a day stands, told from the summaries alone."""

from __future__ import annotations

import dataclasses

import pytest

from server.analysis.result import DayResult, SetupResult
from server.figures.theme import setup_marks
from server.results.next_step import next_step, standing_from, standing_of, step_from
from server.results.standing_view import day_course, next_setup, setup_standings, standing_sentence
from server.results.summary import summarise
from server.testday.values import Finding
from tests.web.made_up import estimate, made_up_day_result

MARKS = setup_marks(["A", "B", "C"])


def with_u(setup: SetupResult, u: float) -> SetupResult:
    scx = setup.estimates["SCx"]
    return dataclasses.replace(setup, estimates={**setup.estimates, "SCx": estimate(scx.value, u, "m²")})


def sentence(result: DayResult, wanted: float = 0.03, names: str = "AB") -> str:
    marks = {name: MARKS[name] for name in names}
    return standing_sentence(setup_standings(summarise(result), marks, wanted), wanted)


@pytest.mark.parametrize("wanted", [0.05, 0.04, 0.03, 0.01])
def test_a_summary_advises_what_the_whole_result_does(wanted: float) -> None:
    result = made_up_day_result("ABC")
    for setup, kept in zip(result.setups, summarise(result)["setups"], strict=True):
        assert standing_from(kept["standing"]) == standing_of(setup)
        assert step_from(standing_from(kept["standing"]), wanted) == next_step(setup, wanted)


def test_the_sentence_names_the_setup_that_is_farthest() -> None:
    a, b = made_up_day_result("AB").setups
    result = dataclasses.replace(made_up_day_result("AB"), setups=(with_u(a, 0.014), with_u(b, 0.017)))
    text = sentence(result)
    assert text.startswith("SCx A 1.520 ± 0.028, B 1.380 ± 0.034 m². Next: B, ")
    assert "± 0.03 m²" in text


def test_all_within_the_wanted_interval() -> None:
    result = made_up_day_result("AB")
    assert sentence(result, 0.05) == (
        "SCx A 1.520 ± 0.041, B 1.380 ± 0.041 m²; both within the wanted ± 0.05 m². Next: another setup, or pack up."
    )
    assert sentence(result, 0.05, "ABC").endswith("Next: run C.")


def test_one_way_alone_has_reached_nothing() -> None:
    result = made_up_day_result("A")
    passes = tuple(dataclasses.replace(one, direction=1) for one in result.setups[0].passes)
    result = dataclasses.replace(result, setups=(dataclasses.replace(result.setups[0], passes=passes),))
    assert "run as many the other way" in sentence(result, 0.05, "A")


def test_a_setup_without_an_area_comes_first_and_says_why() -> None:
    a, b = made_up_day_result("AB").setups
    bare = dataclasses.replace(b, estimates={}, passes=())
    stop = Finding("no-area", "stop", "Setup B has no coast-down.")
    result = dataclasses.replace(made_up_day_result("AB"), setups=(a, bare), findings=(stop,))
    standings = setup_standings(summarise(result), {name: MARKS[name] for name in "AB"}, 0.03)
    assert standings[1].why == "Setup B has no coast-down."
    assert next_setup(standings, 0.03) is standings[1]
    assert "B has no area. Next for B: run coast-downs in both directions" in standing_sentence(standings, 0.03)
    nothing = dataclasses.replace(result, setups=(bare,))
    assert sentence(nothing, names="B").startswith("No drag area can be had yet: Setup B has no coast-down. Next:")


def test_before_any_result() -> None:
    assert standing_sentence(setup_standings(None, MARKS, 0.03), 0.03).startswith("No coast-down was fitted yet")


def test_what_each_run_gave_adds_up() -> None:
    result = made_up_day_result("AB")
    summary = summarise(result)
    passes = [one for setup in result.setups for one in setup.passes if one.kind != "zero"]
    assert sum(run["found"] for run in summary["runs"]) == len(passes)
    assert sum(run["used"] for run in summary["runs"]) == sum(one.used for one in passes)
    assert summary["runs"][0] == {"run": 1, "found": 5, "used": 4, "directions": [-1, 1], "findings": {}}


def test_the_course_counts_results_from_the_oldest() -> None:
    told = [(summarise(made_up_day_result("A")), "added"), (summarise(made_up_day_result("AB")), "run 4 added")]
    course = day_course(told, {name: MARKS[name] for name in "AB"}, 0.03)
    assert [(one.number, one.setup, one.led_by) for one in course.points] == [
        (1, "A", "added"), (2, "A", "run 4 added"), (2, "B", "run 4 added"),
    ]  # fmt: skip
