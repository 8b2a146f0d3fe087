"""The passes of one run over each other: every reading is drawn, crosses for what was turned down, loads beneath."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from server.analysis.result import Pass
from server.figures.passes_over_speed import binned_resistance
from server.figures.run_passes import run_passes, run_passes_table
from server.figures.run_values import RunFigure, TurnedDown
from server.results.run_part import part_of
from tests.results.made_loads import loaded_day
from tests.web.made_up import made_up_day_result

MARKUP = "<b>traffic</b> %{x}"
REFUSED = Pass(1, "A", "coast-down", 1, 420.0, 427.5, False, MARKUP)
DOWN = TurnedDown(REFUSED, np.array([26.0, 24.0, 22.0]), np.array([700.0, 640.0, 590.0]))


def plain() -> RunFigure:
    return RunFigure(part_of(made_up_day_result("AB"), 1), (DOWN,))


def test_every_bin_of_every_pass_is_drawn_and_stands_in_the_table() -> None:
    run = plain()
    fits = [fit for setup in run.result.setups for fit in setup.fits]
    wanted = [one for fit in fits for one in binned_resistance(fit)]
    assert len(fits) == 4
    figure = run_passes(run)
    circles = [trace for trace in figure.data if trace.mode == "markers" and trace.marker.symbol == "circle"]
    drawn = [(x / 3.6, y) for trace in circles for x, y in zip(trace.x, trace.y, strict=True)]
    np.testing.assert_allclose(drawn, [one[:2] for one in wanted])
    rows = run_passes_table(run).rows
    measured = [row for row in rows if row[3] == "used"]
    np.testing.assert_allclose([row[6] for row in measured], [one[1] for one in wanted])
    assert [row[5:7] for row in rows if row[3] == "turned down"] == [
        (26.0 * 3.6, 700.0), (24.0 * 3.6, 640.0), (22.0 * 3.6, 590.0)
    ]  # fmt: skip


def test_what_was_turned_down_is_crossed_and_its_reason_is_text() -> None:
    (cross,) = [trace for trace in run_passes(plain()).data if trace.marker.symbol == "x-thin"]
    assert list(cross.y) == [700.0, 640.0, 590.0]
    assert "&lt;b&gt;traffic&lt;/b&gt; % {x}" in cross.hovertemplate


@pytest.mark.parametrize("narrow", [False, True])
def test_loads_stand_beneath_on_the_same_speeds(narrow: bool) -> None:
    run = RunFigure(part_of(loaded_day("ABC"), 1))
    layout = json.loads(run_passes(run, narrow).to_json() or "")["layout"]
    ranges = [tuple(layout[name]["range"]) for name in ("xaxis", "xaxis2", "xaxis3")]
    assert len(set(ranges)) == 1
    assert [one["text"] for one in layout["annotations"]] == ["front axle", "rear axle"]
    kinds = {row[4] for row in run_passes_table(run).rows}
    assert kinds == {"resistance", "front axle load", "rear axle load"}
    tops = [layout[name]["domain"][1] for name in ("yaxis", "yaxis2", "yaxis3")]
    assert tops == sorted(tops, reverse=True)


def test_a_run_without_anything_is_an_empty_figure() -> None:
    empty = RunFigure(dataclasses.replace(part_of(made_up_day_result("AB"), 99)))
    assert len(run_passes(empty).data) == 0
    assert run_passes_table(empty).rows == ()
