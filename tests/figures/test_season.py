"""The timeline of a season."""

from __future__ import annotations

import datetime as dt
import json

import pytest

from server.days.season_view import letters_of, timeline_points
from server.figures.season import LETTERS, season_json, season_table, season_timeline
from tests.days.made_season import made_day, of_setup, value

FIRST = dt.date(2026, 3, 1)


def points(days: int, cars: int = 1, quantity: str = "SCx"):  # type: ignore[no-untyped-def]
    share = value(0.4, 0.01)
    made = [
        made_day(
            n,
            FIRST + dt.timedelta(days=7 * n),
            [of_setup(name, 1.4 + 0.01 * n, balance_front=share) for name in "AB"],
            car=f"Car {n % cars}",
        )
        for n in range(days)
    ]
    return timeline_points(made, quantity, letters_of(made))


def test_every_value_stands_at_its_day_with_its_interval() -> None:
    figure = season_timeline(points(3), "SCx")
    marks = [trace for trace in figure.data if trace.mode == "markers+text"]
    assert [list(trace.y) for trace in marks] == [[1.4, 1.41, 1.42]] * 2
    assert marks[0].error_y.array == pytest.approx([1.96 * 0.02] * 3)
    middles = [(a + b) / 2 for a, b in zip(marks[0].x, marks[1].x, strict=True)]
    assert middles == pytest.approx([0.0, 7.0, 14.0])
    assert figure.layout.yaxis.title.text == "SCx [m²]"


def test_cars_have_panels_of_one_range() -> None:
    figure = season_timeline(points(4, cars=2), "SCx")
    assert figure.layout.yaxis.range == figure.layout.yaxis2.range
    assert figure.layout.yaxis.domain[0] > figure.layout.yaxis2.domain[1]
    assert {note.text for note in figure.layout.annotations} == {"Car 0", "Car 1"}


def test_balance_is_drawn_in_per_cent() -> None:
    figure = season_timeline(points(1, quantity="balance_front"), "balance_front")
    assert figure.data[1].y[0] == pytest.approx(40.0)
    assert season_table(points(1, quantity="balance_front"), "balance_front").rows[0][6] == pytest.approx(40.0)


def test_a_full_season_keeps_a_letter_at_the_newest_of_each_setup() -> None:
    figure = season_timeline(points(LETTERS), "SCx")
    texts = [[text for text in trace.text if text] for trace in figure.data if trace.mode == "markers+text"]
    assert texts == [[" A"], [" B"]]


def test_names_with_markup_are_text() -> None:
    made = [made_day(1, FIRST, [of_setup("<b>A</b>", 1.4)], car="<i>car</i>"), made_day(2, FIRST, [of_setup("A", 1.4)])]
    text = season_json(timeline_points(made, "SCx", letters_of(made)), "SCx", narrow=False)
    assert "<b>A" not in text
    assert "<i>car" not in text
    assert json.loads(text)["dark"]


def test_the_table_says_what_the_figure_draws() -> None:
    table = season_table(points(2), "SCx")
    assert len(table.rows) == 4
    assert table.rows[0][:5] == ("2026-03-01", "Day 0", "Car 0", "A", "A")
    assert table.rows[0][6:10] == pytest.approx((1.4, 0.02, 1.4 - 0.0392, 1.4 + 0.0392))
    assert table.rows[0][10] == "m²"
