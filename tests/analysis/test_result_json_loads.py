"""The JSON of a fit with axle loads: the new parts stand beside the agreed ones, strict and without holes."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest

from server.analysis.result import DayResult
from server.analysis.result_json import result_to_json
from tests.results.made_loads import SPEEDS_MPS, estimate, loaded_day
from tests.web.made_up import made_up_day_result


def told(result: DayResult) -> dict:
    return json.loads(json.dumps(result_to_json(result), allow_nan=False))


def first(result: DayResult, **changes: object) -> DayResult:
    """The day with its first setup changed."""
    return dataclasses.replace(result, setups=(dataclasses.replace(result.setups[0], **changes), *result.setups[1:]))


def test_a_day_without_loads_has_no_new_key() -> None:
    day = told(made_up_day_result("A"))
    assert list(day) == ["format", "name", "reference", "setups", "comparisons", "correlation", "findings"]
    assert set(day["setups"][0]) == {"name", "estimates", "passes", "interval_method", "budget"}


def test_new_parts_come_beside_the_agreed_ones() -> None:
    day, bare = told(loaded_day("AB")), told(made_up_day_result("AB"))
    assert set(day) - set(bare) == {"load_sources", "source_checks", "stand_tests"}
    assert set(day["setups"][0]) - set(bare["setups"][0]) == {"at_speeds", "visited", "bend"}
    assert {"SCz_front", "SCz_rear", "SCz", "balance_front", "LD"} <= set(day["setups"][0]["estimates"])
    assert day["load_sources"] == ["damper", "ride height"]
    assert day["reference"]["front_ride_height_m"] == 0.0298


def test_a_speed_carries_its_estimates() -> None:
    speeds = told(loaded_day("A"))["setups"][0]["at_speeds"]
    assert [one["speed_mps"] for one in speeds] == list(SPEEDS_MPS)
    assert set(speeds[0]) == {
        *("speed_mps", "downforce_front_n", "downforce_rear_n", "downforce_n"),
        *("wheel_load_front_n", "wheel_load_rear_n", "sink_front_m", "sink_rear_m"),
        *("ride_height_front_m", "ride_height_rear_m", "rake_rad"),
    }
    assert set(speeds[0]["downforce_n"]) == {"value", "u", "u95", "low95", "high95", "unit", "source"}


def test_without_static_heights_there_are_sinks_alone() -> None:
    setup = told(loaded_day("A", heights=False))["setups"][0]
    assert "sink_front_m" in setup["at_speeds"][0]
    assert not [key for key in setup["at_speeds"][0] if "height" in key or "rake" in key]
    assert all(set(one) == {"axle", "seconds", "sink", "scz"} for one in setup["visited"])


def test_the_bend_test_is_told_whole() -> None:
    straight, bent = (setup["bend"] for setup in told(loaded_day("AB"))["setups"])
    assert set(straight) == {"statistic", "p", "replicates", "bent", "slope"}
    assert (straight["bent"], bent["bent"]) == (False, True)
    assert bent["slope"]["front"]["unit"] == "1/m"


def test_checks_and_stand_tests_say_against_what() -> None:
    day = told(loaded_day("A"))
    assert set(day["source_checks"][0]) == {"axle", "first", "second", "ratio", "z"}
    assert [set(one) - {"quantity", "measured", "text"} for one in day["stand_tests"]] == [
        {"entered", "z"},
        set(),
        {"entered", "z"},
    ]


@pytest.mark.parametrize("hole", [math.nan, math.inf])
def test_a_hole_is_left_out_where_it_is(hole: float) -> None:
    result = loaded_day("A")
    setup = result.setups[0]
    none = estimate(hole, 1.0, "N")
    speeds = (dataclasses.replace(setup.at_speeds[0], downforce_n=none), *setup.at_speeds[1:])
    bands = (dataclasses.replace(setup.visited[0], scz=none), *setup.visited[1:])
    assert setup.bend is not None
    bend = dataclasses.replace(setup.bend, p=hole, slope={"front": none})
    found = told(first(result, at_speeds=speeds, visited=bands, bend=bend))["setups"][0]
    assert "downforce_n" not in found["at_speeds"][0]
    assert len(found["visited"]) == len(bands) - 1
    assert "p" not in found["bend"]
    assert found["bend"]["slope"] == {}


def test_arrays_of_the_loads_are_not_printed() -> None:
    assert "friction_n" not in json.dumps(told(loaded_day("A")))
