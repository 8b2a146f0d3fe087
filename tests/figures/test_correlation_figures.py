"""Figures of a correlation: marks that mean one thing, shapes that are named, tables of what is drawn."""

from __future__ import annotations

import datetime as dt

from server.analysis.correlated import NORMAL_95
from server.analysis.result import Estimate, VisitedHeight
from server.figures.correlation_over_heights import over_heights, over_heights_table
from server.figures.correlation_points import CasePoint, TrendPoint
from server.figures.correlation_trend import trend, trend_table
from server.figures.theme import setup_marks

MARKS = setup_marks(["A", "B"])


def point(day: int, setup: str, recipe: str, share: float) -> TrendPoint:
    return TrendPoint(dt.date(2026, 5, day), f"day {day}", setup, recipe, share, 0.01)


def test_each_recipe_has_a_shape_and_a_name() -> None:
    points = [point(1, "A", "RANS", 0.03), point(1, "B", "RANS", -0.02), point(9, "A", "DES <b>", 0.01)]
    figure = trend(points, MARKS, 0.05)
    assert [(one.name, one.marker.symbol, list(one.text)) for one in figure.data] == [
        ("RANS", "circle", ["A", "B"]), ("DES &lt;b&gt;", "square", ["A"]),
    ]  # fmt: skip
    assert figure.layout.showlegend
    assert list(figure.data[0].y) == [3.0, -2.0]
    assert figure.data[0].error_y.array[0] == NORMAL_95
    band = figure.layout.shapes[0]
    assert (band.y0, band.y1) == (-5.0, 5.0)
    assert len(trend_table(points).rows) == 3


def test_one_recipe_needs_no_legend() -> None:
    assert not trend([point(1, "A", "RANS", 0.03)], MARKS, 0.05).layout.showlegend


def test_measured_is_where_the_car_was_and_predicted_beneath() -> None:
    def told(value: float, u: float, unit: str) -> Estimate:
        return Estimate(value, u, value - 2 * u, value + 2 * u, unit, "measured")

    visited = [
        VisitedHeight("front", told(0.008, 0.001, "m"), told(1.55, 0.03, "m²"), 12.0, told(0.026, 0.001, "m")),
        VisitedHeight("front", told(0.004, 0.001, "m"), told(1.50, 0.05, "m²"), 5.0, None),
    ]
    cases = [CasePoint(0.026, 1.60, 0.02, "26 mm front, 30 mm rear")]
    measured, predicted = over_heights(visited, cases, MARKS["A"]).data
    assert (measured.marker.symbol, list(measured.x)) == ("circle", [26.0])
    assert (predicted.marker.symbol, list(predicted.y)) == ("diamond-open", [1.60])
    assert [row[0] for row in over_heights_table(visited, cases).rows] == ["measured", "predicted"]
