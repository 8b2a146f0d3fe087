"""The course of a day: intervals that shrink towards the wanted one, drawn and as a table."""

from __future__ import annotations

import json
import math
import re

import pytest

from server.analysis.result import Estimate
from server.figures.course import MOST_DRAWN, Course, CoursePoint, course_figure, course_table
from server.figures.theme import LIGHT, OKABE_ITO, setup_marks

WANTED = 0.03


def point(number: int, setup: str, value: float, u95: float) -> CoursePoint:
    estimate = Estimate(value, u95 / 1.96, value - u95, value + u95, "m²", "measured")
    return CoursePoint(number, setup, estimate, 2 * number, f"run {number} <b>added</b>")


def course(results: int = 4) -> Course:
    points = [point(n, s, v, 0.12 / math.sqrt(n)) for n in range(1, results + 1) for s, v in (("B", 1.4), ("A", 1.5))]
    return Course(setup_marks(["A", "B"]), tuple(points), WANTED)


def layout(course: Course, narrow: bool = False) -> dict:  # type: ignore[type-arg]
    return json.loads(course_figure(course, narrow).to_json())["layout"]


@pytest.mark.parametrize("narrow", [False, True])
def test_axes_say_quantity_and_unit_and_every_colour_is_of_the_theme(narrow: bool) -> None:
    figure = course_figure(course(), narrow).to_json()
    titles = [a["title"]["text"] for k, a in json.loads(figure)["layout"].items() if re.fullmatch(r"[xy]axis\d*", k)]
    assert {title for title in titles if title} == {"SCx [m²]", "result of the day [number]"}
    assert set(re.findall(r"#[0-9a-fA-F]{6}", figure)) <= {*LIGHT.values(), *OKABE_ITO}
    assert "<b>" not in figure


def test_panels_show_the_same_height_about_their_newest_value() -> None:
    """So that widths of different setups compare."""
    shown = layout(course())
    (low_a, high_a), (low_b, high_b) = shown["yaxis"]["range"], shown["yaxis2"]["range"]
    assert high_a - low_a == pytest.approx(high_b - low_b)
    assert (low_a + high_a) / 2 == pytest.approx(1.5)
    assert (low_b + high_b) / 2 == pytest.approx(1.4)
    assert low_a < 1.5 - 0.12 < 1.5 + 0.12 < high_a


def test_a_first_interval_of_ten_times_the_wanted_one_does_not_hide_the_last() -> None:
    points = (point(1, "A", 1.9, 1.5), point(2, "A", 1.5, 0.031))
    low, high = layout(Course(setup_marks(["A"]), points, WANTED))["yaxis"]["range"]
    assert 2 * 0.031 / (high - low) > 0.05


def test_the_band_is_the_wanted_interval_about_the_newest_value() -> None:
    bands = layout(course())["shapes"]
    assert [(band["y0"], band["y1"]) for band in bands] == [pytest.approx((1.47, 1.53)), pytest.approx((1.37, 1.43))]


def test_bars_are_the_intervals_and_thick_parts_one_u() -> None:
    thick, circles = json.loads(course_figure(course(1)).to_json())["data"][:2]
    assert circles["error_y"]["array"] == circles["error_y"]["arrayminus"] == [pytest.approx(0.12)]
    assert thick["y"][:2] == [pytest.approx(1.5 - 0.12 / 1.96), pytest.approx(1.5 + 0.12 / 1.96)]


def test_the_table_holds_every_result_in_order_the_figure_the_newest() -> None:
    many = course(MOST_DRAWN + 5)
    table = course_table(many)
    assert [(row[0], row[1]) for row in table.rows[:3]] == [(1, "A"), (1, "B"), (2, "A")]
    assert len(table.rows) == 2 * (MOST_DRAWN + 5)
    drawn = json.loads(course_figure(many).to_json())["data"][1]
    assert drawn["x"] == list(range(6, MOST_DRAWN + 6))


def test_a_day_without_an_area_has_an_empty_figure() -> None:
    assert course_figure(Course(setup_marks(["A"]), (), WANTED)).data == ()
