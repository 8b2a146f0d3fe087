"""Figures: complete, in the theme, readable as tables."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re

import numpy as np
import pytest
from statsmodels.tsa.stattools import acf

from server.analysis.result import DayResult
from server.figures.budget_lines import largest_lines
from server.figures.catalogue import PLOTS, figure_json
from server.figures.forest import forest_rows
from server.figures.innovations import pooled_autocorrelation
from server.figures.passes_over_speed import binned_resistance
from server.figures.table import Table
from server.figures.theme import LIGHT, LIGHT_TO_DARK, OKABE_ITO, setup_marks
from tests.web.made_up import made_up_day_result

COLOURS = {*LIGHT.values(), *OKABE_ITO}


@pytest.fixture(scope="module")
def result() -> DayResult:
    return made_up_day_result("ABC")


def drawn(name: str, result: DayResult, narrow: bool = False) -> dict:  # type: ignore[type-arg]
    return json.loads(figure_json(name, result, narrow))["figure"]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", PLOTS)
def test_axes_say_quantity_and_unit(name: str, result: DayResult, narrow: bool) -> None:
    layout = drawn(name, result, narrow)["layout"]
    titles = [axis["title"]["text"] for key, axis in layout.items() if re.fullmatch(r"[xy]axis\d*", key)]
    said = [title for title in titles if title]
    assert said
    assert all(re.search(r"\[.+\]$", title) or title == "autocorrelation" for title in said)


@pytest.mark.parametrize("name", PLOTS)
def test_every_colour_is_of_the_theme(name: str, result: DayResult) -> None:
    """A colour outside the theme would not be swapped in the dark."""
    assert set(re.findall(r"#[0-9a-fA-F]{6}", json.dumps(drawn(name, result)))) <= COLOURS


def test_dark_swaps_every_colour_but_the_hues() -> None:
    assert set(LIGHT_TO_DARK) == set(LIGHT.values())
    assert len(set(LIGHT.values())) == len(LIGHT)
    assert not set(LIGHT.values()) & set(OKABE_ITO)


@pytest.mark.parametrize("name", PLOTS)
def test_no_tag_that_would_need_an_inline_style(name: str, result: DayResult) -> None:
    """The strict policy refuses what the plot library makes of <b>, <i>, <span>…"""
    assert set(re.findall(r"</?\w+", json.dumps(drawn(name, result)))) <= {"<br", "<extra", "</extra"}


@pytest.mark.parametrize("name", PLOTS)
def test_a_day_without_any_area_still_draws(name: str, result: DayResult) -> None:
    bare = [
        dataclasses.replace(one, estimates={}, fits=(), budget=(), interval_method=None, sample_scx=None)
        for one in result.setups
    ]
    empty = dataclasses.replace(result, setups=tuple(bare), comparisons=())
    assert "layout" in drawn(name, empty)
    assert PLOTS[name].table(empty).columns
    assert "layout" in drawn(name, dataclasses.replace(empty, setups=()))


def test_setups_keep_their_letter() -> None:
    marks = setup_marks(["B", "long flap", "big wing", "A", "l"])
    assert [mark.letter for mark in marks.values()] == ["B", "C", "D", "A", "L"]
    assert [mark.hue for mark in marks.values()] == list(OKABE_ITO[:5])
    assert len({mark.letter for mark in setup_marks([f"wing {i}" for i in range(60)]).values()}) == 60


def test_setups_that_differ_by_case_alone_get_two_letters() -> None:
    assert len({mark.letter for mark in setup_marks(["a", "A"]).values()}) == 2


def test_bins_are_means_of_the_readings(result: DayResult) -> None:
    fit = result.setups[0].fits[0]
    points = binned_resistance(fit)
    inside = (fit.speed_mps >= 20.0) & (fit.speed_mps < 21.0)
    (point,) = [one for one in points if 20.0 <= one[0] < 21.0]
    expected = (fit.speed_mps[inside], fit.resistance_n[inside], fit.model_resistance_n[inside])
    assert point == pytest.approx([values.mean() for values in expected])


def test_missing_readings_are_left_out(result: DayResult) -> None:
    fit = result.setups[0].fits[0]
    holes = fit.resistance_n.copy()
    holes[::3] = np.nan
    assert np.isfinite(binned_resistance(dataclasses.replace(fit, resistance_n=holes))).all()


def test_the_passes_figure_draws_its_table(result: DayResult) -> None:
    figure = drawn("passes", result)
    drawn_points = sum(len(decoded(trace["y"])) for trace in figure["data"] if trace["mode"] == "markers")
    assert drawn_points == len(PLOTS["passes"].table(result).rows)


def decoded(values: object) -> list[float]:
    """Plotly writes lists as they are and arrays as base64."""
    if isinstance(values, dict):
        import base64

        return list(np.frombuffer(base64.b64decode(values["bdata"]), values["dtype"]))
    assert isinstance(values, list)
    return values


def test_panels_share_their_ranges(result: DayResult) -> None:
    layout = drawn("passes", result)["layout"]
    for axis in ("xaxis", "yaxis"):
        assert layout[axis]["range"] == layout[f"{axis}2"]["range"] == layout[f"{axis}3"]["range"]


def test_narrow_panels_stand_below_each_other(result: DayResult) -> None:
    wide, narrow = drawn("passes", result)["layout"], drawn("passes", result, narrow=True)["layout"]
    assert wide["xaxis"]["domain"] != wide["xaxis2"]["domain"]
    assert narrow["xaxis"]["domain"] == narrow["xaxis2"]["domain"]
    assert narrow["yaxis"]["domain"][0] > narrow["yaxis2"]["domain"][1]


def test_turned_down_passes_stay_visible_crossed(result: DayResult) -> None:
    figure = drawn("forest", result)
    crossed = [note["text"] for note in figure["layout"]["annotations"] if note["text"].startswith("✕")]
    assert len(crossed) == sum(row.value is None for row in forest_rows(result)) == 3
    assert all("<b>" not in text for text in crossed)


def test_many_turned_down_for_one_reason_share_a_row(result: DayResult) -> None:
    setup = result.setups[0]
    slow = [dataclasses.replace(setup.passes[-2], start_s=float(s), reason="too slow") for s in range(5)]
    setup = dataclasses.replace(setup, passes=(*setup.passes, *slow))
    many = dataclasses.replace(result, setups=(setup,))
    notes = [row.note for row in forest_rows(many) if row.value is None]
    assert notes.count("too slow") == 1
    remarks = [row[-1] for row in PLOTS["forest"].table(many).rows]
    assert remarks.count("turned down: too slow") == 5


def test_small_contributions_are_put_together(result: DayResult) -> None:
    line = result.setups[0].budget[0]
    lines = tuple(dataclasses.replace(line, input=f"input {i}", contribution=0.01 / i) for i in range(1, 21))
    shown = largest_lines(lines, 6)
    assert [one.input for one in shown[:2]] == ["input 1", "input 2"]
    assert len(shown) == 7
    total = sum(one.contribution**2 for one in lines)
    assert sum(one.contribution**2 for one in shown) == pytest.approx(total)


def test_interval_bars_are_the_estimates(result: DayResult) -> None:
    scx = result.setups[0].estimates["SCx"]
    first = next(t for t in drawn("forest", result)["data"] if t["mode"] == "markers")
    high = first["x"][0] + first["error_x"]["array"][0]
    low = first["x"][0] - first["error_x"]["arrayminus"][0]
    assert (low, high) == pytest.approx((scx.low95, scx.high95))


def test_autocorrelation_against_a_reference_library() -> None:
    """statsmodels' acf of one series with zero mean is the same sum."""
    fit = made_up_day_result("A").setups[0].fits[0]
    series = np.convolve(np.random.default_rng(5).normal(size=400), [1.0, 0.6, 0.2], "valid")
    series -= series.mean()
    values, n = pooled_autocorrelation([dataclasses.replace(fit, innovations=series)], 10)
    assert n == series.size
    assert values == pytest.approx(acf(series, nlags=10, fft=False)[1:], rel=1e-9)


def test_autocorrelation_does_not_run_from_pass_to_pass() -> None:
    fit = made_up_day_result("A").setups[0].fits[0]
    fits = [dataclasses.replace(fit, innovations=np.array([sign, sign])) for sign in (1.0, -1.0)]
    values, _ = pooled_autocorrelation(fits, 3)
    assert values == pytest.approx([0.5, 0.0, 0.0])


def test_csv_keeps_every_digit_and_no_formula() -> None:
    table = Table(("a", "b"), ((0.1 + 0.2, "=1+1"), (None, 'x "y", z')))
    rows = list(csv.reader(io.StringIO(table.to_csv())))
    assert rows == [["a", "b"], ["0.30000000000000004", "'=1+1"], ["", 'x "y", z']]
    assert float(rows[1][0]) == 0.1 + 0.2
