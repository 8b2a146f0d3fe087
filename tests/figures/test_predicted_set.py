"""The figure of a set: hollow marks, a panel an area, the total only where nothing parts it."""

from __future__ import annotations

import pytest

from server.figures.predicted_set import CaseAreas, drawn_areas, predicted_set, predicted_set_table
from server.figures.theme import setup_marks
from server.testday.values import Quantity

SPLIT = {"SCx": Quantity(1.2, 0.01), "SCz_front": Quantity(1.5, 0.02), "SCz_rear": Quantity(1.8), "SCz": Quantity(3.3)}
TOTAL = {"SCx": Quantity(1.3, 0.01), "SCz": Quantity(3.4, 0.05)}
MARKS = setup_marks(["A", "B"])


def test_a_panel_an_area_and_a_row_a_setup() -> None:
    cases = [CaseAreas("A", 2, "26 / 30 mm", SPLIT), CaseAreas("A", 3, "<b>", SPLIT), CaseAreas("B", 4, "", TOTAL)]
    assert drawn_areas(cases) == ("SCx", "SCz_front", "SCz_rear")
    figure = predicted_set(cases, MARKS)
    assert [list(trace.x) for trace in figure.data] == [[1.2, 1.2], [1.3], [1.5, 1.5], [1.8, 1.8]]
    assert {trace.marker.symbol for trace in figure.data} == {"diamond-open"}
    assert figure.data[0].error_x.array == pytest.approx([1.96 * 0.01] * 2, rel=1e-3)
    assert figure.data[0].y[0] != figure.data[0].y[1]
    assert list(figure.layout.yaxis.ticktext) == ["A", "B"]
    assert "&lt;b&gt;" in figure.data[0].text[1]


def test_totals_alone_are_drawn_as_totals() -> None:
    assert drawn_areas([CaseAreas("B", 4, "", TOTAL)]) == ("SCx", "SCz")
    table = predicted_set_table([CaseAreas("B", 4, "", TOTAL)])
    assert table.columns[3:] == ("SCx [m²]", "u of SCx [m²]", "SCz [m²]", "u of SCz [m²]")
    assert table.rows == ((4, "B", "", 1.3, 0.01, 3.4, 0.05),)
