"""Figures of a day with axle loads: what they draw is what the fit says, told apart without colour."""

from __future__ import annotations

import dataclasses
import json
import re

import numpy as np
import pytest

from server.analysis.result import DayResult
from server.figures.axle_loads import fitted_line
from server.figures.catalogue import LOAD_PLOTS, choice_names, figure_json, figure_names, find_plot
from server.figures.comparisons import on_screen
from server.figures.fits import AXLES
from server.figures.load_points import LoadPoint, banded, friction_band, over_load, over_pressure, rising
from server.figures.panels import Grid, spread
from server.figures.quantity import quantity_of
from server.figures.theme import LIGHT, OKABE_ITO
from server.figures.visited_heights import fitted_curve
from tests.figures.test_figures import decoded
from tests.results.made_loads import BAND_N, MASS, SCZ, SPEEDS_MPS, loaded_day
from tests.web.made_up import made_up_day_result


@pytest.fixture(scope="module")
def result() -> DayResult:
    return loaded_day("ABC")


def every_name(result: DayResult) -> list[str]:
    """All figures with all their choices."""
    names = figure_names(result)
    return [*names, *(one for name in names for one in choice_names(name, result).values() if one not in names)]


NAMES = every_name(loaded_day("ABC"))


def drawn(name: str, result: DayResult, narrow: bool = False) -> dict:  # type: ignore[type-arg]
    return json.loads(figure_json(name, result, narrow))["figure"]


def test_what_can_be_drawn_of_what() -> None:
    assert {"budget-of-SCz_front", "budget-of-balance_front", "comparisons-of-LD"} <= set(NAMES)
    assert {*LOAD_PLOTS, "axle-loads-of-ride-height"} <= set(NAMES)
    assert not set(figure_names(made_up_day_result("AB"))) & set(LOAD_PLOTS)
    assert find_plot("axle-loads", made_up_day_result("AB")) is None
    assert find_plot("budget-of-nonsense", loaded_day("A")) is None
    assert choice_names("budget", made_up_day_result("AB")) == {}


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", NAMES)
def test_axes_say_quantity_and_unit(name: str, result: DayResult, narrow: bool) -> None:
    layout = drawn(name, result, narrow)["layout"]
    titles = [axis["title"]["text"] for key, axis in layout.items() if re.fullmatch(r"[xy]axis\d*", key)]
    said = [title for title in titles if title]
    assert said
    assert all(re.search(r"\[.+\]$", title) or title == "autocorrelation" for title in said)


@pytest.mark.parametrize("name", NAMES)
def test_colours_are_of_the_theme_and_text_is_plain(name: str, result: DayResult) -> None:
    text = json.dumps(drawn(name, result))
    assert set(re.findall(r"#[0-9a-fA-F]{6}", text)) <= {*LIGHT.values(), *OKABE_ITO}
    assert "rgb" not in text
    assert set(re.findall(r"</?\w+", text)) <= {"<br", "<extra", "</extra"}


@pytest.mark.parametrize("name", LOAD_PLOTS)
def test_a_day_with_little_still_draws(name: str, result: DayResult) -> None:
    """Loads of one setup alone, one speed, one band; nothing at all."""
    poor = [
        dataclasses.replace(one, fits=one.fits[:1], at_speeds=one.at_speeds[:1], visited=one.visited[:1], bend=None)
        for one in result.setups[:1]
    ]
    bare = dataclasses.replace(result.setups[1], fits=(), at_speeds=(), visited=(), bend=None, estimates={})
    for setups in ((*poor, bare), ()):
        day = dataclasses.replace(result, setups=setups)
        assert LOAD_PLOTS[name].draw(day).to_json()
        assert LOAD_PLOTS[name].table(day).columns


def test_coast_down_figures_leave_constant_speed_passes_out(result: DayResult) -> None:
    coasts = sum(fit.of.kind == "coast-down" for setup in result.setups for fit in setup.fits)
    rows = find_plot("forest", result).table(result).rows  # type: ignore[union-attr]
    alone = [row for row in rows if "together" not in str(row[0]) and row[1] is not None]
    assert len(alone) == coasts
    assert all(np.isfinite([cell for cell in row if isinstance(cell, float)]).all() for row in rows)


def test_kinds_are_told_apart_by_shape(result: DayResult) -> None:
    for trace in drawn("axle-loads", result)["data"]:
        if trace["mode"] == "markers":
            wanted = "square" if "constant speed" in trace["name"] else "circle"
            assert trace["marker"]["symbol"] == wanted
    shapes = {t["marker"]["symbol"] for t in drawn("axle-loads", result)["data"] if t["mode"] == "markers"}
    assert shapes == {"circle", "square"}


def test_load_points_lie_on_the_area(result: DayResult) -> None:
    """SCz times pressure and what the joints held back, within the noise that was put in."""
    for one in over_pressure(result, "damper"):
        scz = SCZ[one.setup][AXLES.index(one.load.axle)]
        left = [p.load_n - p.friction_n - scz * p.pressure_pa for p in one.points]
        assert abs(np.mean(left)) < 5.0 * 12.0 / np.sqrt(one.load.load_n.size)


def test_load_figure_draws_its_table(result: DayResult) -> None:
    """Each point once as a load, once as a residual."""
    figure = drawn("axle-loads", result)
    points = sum(len(decoded(trace["y"])) for trace in figure["data"] if trace["mode"] == "markers")
    assert points == 2 * len(find_plot("axle-loads", result).table(result).rows)  # type: ignore[union-attr]


def test_sources_are_drawn_one_at_a_time(result: DayResult) -> None:
    for name, source in (("axle-loads", "damper"), ("axle-loads-of-ride-height", "ride height")):
        rows = find_plot(name, result).table(result).rows  # type: ignore[union-attr]
        assert {row[6] for row in rows} == {source}


def test_bands_are_means_of_their_readings(result: DayResult) -> None:
    load = result.setups[0].fits[0].loads[0]
    (point,) = banded(load, load.pressure_pa, 1e9)
    assert point.load_n == pytest.approx(load.load_n.mean())
    holes = dataclasses.replace(load, load_n=np.where(np.arange(load.load_n.size) % 2, np.nan, load.load_n))
    (point,) = banded(holes, load.pressure_pa, 1e9)
    assert point.sink_m == pytest.approx(load.sink_m[::2].mean())


def test_a_falling_load_is_not_called_rising(result: DayResult) -> None:
    load = result.setups[0].fits[0].loads[0]
    ramp = np.linspace(900.0, 100.0, 60)
    assert not rising(dataclasses.replace(load, fitted_n=ramp)).any()
    assert rising(dataclasses.replace(load, fitted_n=ramp[::-1])).all()
    assert rising(dataclasses.replace(load, fitted_n=ramp[:1])).tolist() == [0.0]


def test_friction_stands_apart_by_direction_within_its_band(result: DayResult) -> None:
    """In the made-up day a falling load reads high by the band, a rising one low."""
    loads = [load for fit in result.setups[0].fits for load in fit.loads if load.source == "damper"]
    band = friction_band([load for load in loads if load.axle == "front"])
    assert band == pytest.approx(BAND_N["front"], rel=0.03)
    down = [p for one, up in over_load(result, "damper") if not up and one.load.axle == "front" for p in one.points]
    assert np.mean([p.load_n - p.fitted_n for p in down]) == pytest.approx(BAND_N["front"], rel=0.3)
    symbols = {(t["marker"]["symbol"], "rising" in t["name"]) for t in drawn("friction", result)["data"]}
    assert symbols == {("triangle-up", True), ("triangle-down", False)}
    assert (
        friction_band([load for fit in result.setups[0].fits for load in fit.loads if load.source != "damper"]) is None
    )


def test_a_straight_fit_is_a_straight_line() -> None:
    points = [LoadPoint(20.0, q, 0.0, 1.6 * q, 0.0, 0.0) for q in np.linspace(40.0, 400.0, 50)]
    line = fitted_line(points)
    assert all(load == pytest.approx(1.6 * pressure) for pressure, load in line)
    assert fitted_line([]) == []


def test_the_curve_passes_the_reference_condition(result: DayResult) -> None:
    """SCz(sink) is the area at the reference sink and changes by the slope beside it; level when nothing bends."""
    bent = next(setup for setup in result.setups if setup.bend and setup.bend.bent)
    bands = sorted((v for v in bent.visited if v.axle == "front"), key=lambda v: v.sink.value)
    curve = fitted_curve(bent, "front", bands, 22.0)
    assert curve is not None
    assert curve.bent
    reference = next(one.sink_front_m for one in bent.at_speeds if one.speed_mps == 22.0)
    assert reference is not None
    at = np.interp(reference.value, curve.sink_m, curve.scz)
    assert at == pytest.approx(bent.estimates["SCz_front"].value, rel=1e-6)
    slope = (curve.scz[-1] - curve.scz[0]) / (curve.sink_m[-1] - curve.sink_m[0]) / at
    assert bent.bend is not None
    assert slope == pytest.approx(bent.bend.slope["front"].value)
    assert (curve.sink_m[0], curve.sink_m[-1]) == (bands[0].sink.value, bands[-1].sink.value)
    level = fitted_curve(result.setups[0], "front", bands, 22.0)
    assert level is not None
    assert len(set(level.scz)) == 1
    assert fitted_curve(bent, "front", bands, 80.0) is None


def test_nothing_is_filled_in_between_visited_heights(result: DayResult) -> None:
    marks = [t for t in drawn("visited", result)["data"] if t["mode"] == "markers"]
    assert sum(len(decoded(trace["x"])) for trace in marks) == sum(len(setup.visited) for setup in result.setups)


def test_without_static_heights_sinks_are_drawn() -> None:
    day = loaded_day("A", heights=False)
    for name in ("visited", "ride-heights"):
        titles = json.dumps(drawn(name, day)["layout"])
        assert "sunk since standing" in titles
        assert "ride height" not in titles


def test_weight_is_marked_where_downforce_equals_it(result: DayResult) -> None:
    """v = √(2 m g / ρ SCz) is where the circle stands, at the weight."""
    figure = drawn("downforce", result)
    circles = [t for t in figure["data"] if t["mode"] == "markers"]
    assert len(circles) == len(result.setups)
    assert circles[0]["x"][0] == pytest.approx(3.6 * result.setups[0].estimates["weight_speed"].value)
    assert circles[0]["y"][0] == pytest.approx(MASS * 9.80665)
    x = figure["layout"]["xaxis"]["range"]
    assert all(x[0] < circle["x"][0] < x[1] for circle in circles)
    lines = [t for t in figure["data"] if t["mode"] == "lines" and t.get("xaxis", "x") == "x"]
    assert max(max(decoded(trace["x"])) for trace in lines) == pytest.approx(3.6 * SPEEDS_MPS[-1])


def test_a_far_meeting_of_weight_is_not_drawn(result: DayResult) -> None:
    far = dataclasses.replace(result.setups[0].estimates["weight_speed"], value=95.0, low95=90.0, high95=100.0)
    setup = dataclasses.replace(result.setups[0], estimates={"weight_speed": far})
    figure = drawn("downforce", dataclasses.replace(result, setups=(setup,)))
    assert [t for t in figure["data"] if t["mode"] == "markers"] == []


def test_balance_changes_are_in_points(result: DayResult) -> None:
    delta = result.comparisons[0].deltas["balance_front"]
    shown = on_screen(delta, quantity_of("balance_front"))
    assert (shown.value, shown.unit, shown.p) == (pytest.approx(100.0 * delta.value), "points", delta.p)
    (x,) = (t["x"] for t in drawn("comparisons-of-balance_front", result)["data"][1:2])
    assert x[0] == pytest.approx(shown.value)


def test_a_budget_is_of_one_quantity(result: DayResult) -> None:
    assert {row[1] for row in find_plot("budget-of-LD", result).table(result).rows} == {"LD"}  # type: ignore[union-attr]
    bars = drawn("budget-of-balance_front", result)["data"][0]
    assert max(decoded(bars["x"])) == pytest.approx(100.0 * 0.66 * 0.004)


def test_letters_keep_apart_in_their_order() -> None:
    moved = spread([10.0, 10.5, 2.0], 3.0)
    assert np.diff(sorted(moved)).min() >= 3.0 - 1e-12
    assert np.argsort(moved).tolist() == [2, 0, 1]
    assert spread([1.0, 9.0], 3.0) == [1.0, 9.0]
    assert spread([], 1.0) == []


@pytest.mark.parametrize("narrow", [False, True])
def test_panels_do_not_meet(narrow: bool) -> None:
    grid = Grid(3, (300, 100), narrow)
    boxes = []
    for group in range(3):
        for row in range(2):
            layout = grid.layout(group, row, ("x [1]", "y [1]"))
            (x,) = (a["domain"] for name, a in layout.items() if name.startswith("x"))
            (y,) = (a["domain"] for name, a in layout.items() if name.startswith("y"))
            assert 0.0 <= x[0] < x[1] <= 1.0
            assert 0.0 <= y[0] < y[1] <= 1.0 + 1e-12
            boxes.append((*x, *y))
    for i, one in enumerate(boxes):
        for other in boxes[:i]:
            beside = one[0] >= other[1] or other[0] >= one[1]
            above = one[2] >= other[3] or other[2] >= one[3]
            assert beside or above
