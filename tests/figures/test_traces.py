"""The figure of a log's channels: no peak lost, gaps kept, stretches told apart without colour."""

from __future__ import annotations

import itertools
import json
import re

import numpy as np
import pytest

from server.analysis.result import Pass
from server.figures.run_values import ChannelTrace
from server.figures.theme import LIGHT, LIGHT_TO_DARK
from server.figures.traces import path, traces, traces_json, traces_table

MARKUP = "<img src=x onerror=alert(1)>"


def envelope(name: str = "damper", unit: str | None = "mm", n: int = 300) -> ChannelTrace:
    rng = np.random.default_rng(1)
    first = np.arange(n) * 0.5
    middle, half = np.cumsum(rng.normal(0.0, 1.0, n)), rng.exponential(1.0, n)
    return ChannelTrace(name, unit, first, first + 0.4, middle - half, middle + half)


def one_by_one(*pairs: tuple[float, float]) -> ChannelTrace:
    time_s, values = np.array(pairs).reshape(-1, 2).T
    return ChannelTrace("v", "V", time_s, time_s, values, values)


PASSES = (
    Pass(1, "A", "coast-down", 1, 10.0, 30.0, True),
    Pass(1, "A", "coast-down", -1, 40.0, 55.0, False, "the brake was <b>touched</b>"),
    Pass(1, "A", "constant-speed", 1, 60.0, 70.0, True),
    Pass(1, "A", "zero", 0, 80.0, 90.0, True),
)


def test_the_line_goes_through_every_least_and_greatest() -> None:
    one = envelope()
    time_s, values = path(one)
    assert len(values) == 2 * len(one.low)
    assert set(values.tolist()) == {*one.low.tolist(), *one.high.tolist()}
    assert (np.diff(time_s) >= 0.0).all()
    pairs = values.reshape(-1, 2)
    np.testing.assert_array_equal(pairs.min(axis=1), one.low)
    np.testing.assert_array_equal(pairs.max(axis=1), one.high)


def test_samples_one_by_one_are_themselves() -> None:
    time_s, values = path(one_by_one((0.0, 5.0), (0.1, 7.0), (0.2, 6.0)))
    assert time_s.tolist() == [0.0, 0.1, 0.2]
    assert values.tolist() == [5.0, 7.0, 6.0]


def test_a_gap_breaks_the_line_and_a_slow_rhythm_does_not() -> None:
    broken = path(one_by_one((0.0, 5.0), (0.1, 7.0), (0.2, 7.0), (3.0, 6.0), (3.1, 6.0)))[1]
    assert np.isnan(broken).tolist() == [False, False, False, True, False, False]
    slow = path(one_by_one(*((float(k * 30), 1.0) for k in range(6))))[1]
    assert not np.isnan(slow).any()
    nothing = path(one_by_one((0.0, 5.0), (0.1, np.nan), (0.2, 7.0)))[1]
    assert np.isnan(nothing).tolist() == [False, True, False]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("count", [1, 4])
def test_a_panel_a_channel_with_its_unit_over_one_time(count: int, narrow: bool) -> None:
    channels = [envelope(f"channel {k}", "mm" if k else None) for k in range(count)]
    layout = json.loads(traces_json(channels, PASSES, narrow))["figure"]["layout"]
    titles = {key: axis["title"]["text"] for key, axis in layout.items() if re.fullmatch(r"[xy]axis\d*", key)}
    assert [titles[f"yaxis{k + 2}"] for k in range(count)] == ["[no unit]", *["[mm]"] * (count - 1)]
    assert [text for key, text in titles.items() if key[0] == "x" and text] == ["time [s]"]
    assert all(layout[f"xaxis{k + 2}"]["matches"] == "x" for k in range(count))
    assert [one["text"] for one in layout["annotations"]] == [one.name for one in channels]
    domains = [layout[f"yaxis{k + 2}"]["domain"] for k in range(count)]
    assert all(above[0] > below[1] for above, below in itertools.pairwise(domains))


def test_stretches_are_told_apart_without_colour() -> None:
    """Kind: the row with its name. Used: a thick bar and shade; turned down: thin, dotted, crossed, dashed edges."""
    figure = json.loads(traces_json([envelope()], PASSES))["figure"]
    assert figure["layout"]["yaxis"]["ticktext"] == ["coast-downs", "steady speed", "standing"]
    bars = [one for one in figure["data"] if one["yaxis"] == "y"]
    assert [one["y"][0] for one in bars] == [0, 0, 1, 2]
    assert [one["line"]["dash"] for one in bars] == ["solid", "dot", "solid", "solid"]
    assert [one["mode"] for one in bars] == ["lines", "lines+markers", "lines", "lines"]
    assert bars[1]["marker"]["symbol"].startswith("x")
    assert bars[0]["line"]["width"] > 3 * bars[1]["line"]["width"]
    shapes = figure["layout"]["shapes"]
    assert [(one["type"], one["x0"], one["x1"]) for one in shapes] == [
        ("rect", 10.0, 30.0),
        ("line", 40.0, 40.0),
        ("line", 55.0, 55.0),
        ("rect", 60.0, 70.0),
        ("rect", 80.0, 90.0),
    ]
    assert "coast-down back, 40.0 to 55.0 s, turned down: the brake was" in bars[1]["text"][0]


def test_names_are_text() -> None:
    text = traces_json([envelope(MARKUP, "<i>m</i>")], PASSES)
    assert set(re.findall(r"</?\w+", json.dumps(json.loads(text)))) <= {"<extra", "</extra"}
    assert "&lt;img" in text.replace("\\u003c", "<").replace("\\u0026", "&")


def test_every_colour_is_of_the_theme() -> None:
    text = traces_json([envelope()], PASSES)
    assert set(re.findall(r"#[0-9a-fA-F]{6}", json.dumps(json.loads(text)["figure"]))) <= set(LIGHT.values())
    assert json.loads(text)["dark"] == LIGHT_TO_DARK


def test_the_table_is_what_is_drawn() -> None:
    one = ChannelTrace(
        "v", "V", np.array([0.0, 1.0]), np.array([0.5, 1.0]), np.array([2.0, np.nan]), np.array([3.0, np.nan])
    )
    table = traces_table([one, envelope("w", None, 3)])
    assert table.columns == ("channel", "unit", "from [s]", "to [s]", "least", "greatest")
    assert table.rows[:2] == (("v", "V", 0.0, 0.5, 2.0, 3.0), ("v", "V", 1.0, 1.0, None, None))
    assert len(table.rows) == 5
    assert table.to_csv().splitlines()[2] == "v,V,1.0,1.0,,"


@pytest.mark.parametrize("passes", [(), PASSES])
def test_little_or_nothing_still_draws(passes: tuple[Pass, ...]) -> None:
    empty = ChannelTrace("none", "V", *(np.empty(0) for _ in range(4)))
    blank = ChannelTrace("blank", "V", np.array([1.0]), np.array([1.0]), np.array([np.nan]), np.array([np.nan]))
    for channels in ([], [empty], [blank], [one_by_one((2.0, 3.0))], [empty, envelope()]):
        drawn = json.loads(traces_json(channels, passes))["figure"]
        assert len(drawn["data"]) == len(channels) + len(passes)
        low, high = drawn["layout"]["xaxis"]["range"]
        assert high > low
    assert traces([one_by_one((2.0, 3.0))]).data[0].mode == "markers"


def test_the_whole_of_a_channel_is_inside_its_panel() -> None:
    one = envelope()
    low, high = json.loads(traces_json([one]))["figure"]["layout"]["yaxis"]["range"]
    assert low < one.low.min()
    assert high > one.high.max() + 0.15 * (one.high.max() - one.low.min()), "room for the name"
