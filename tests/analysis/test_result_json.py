"""The JSON of a fit: the agreed keys, strict JSON, and nothing where nothing can be had."""

from __future__ import annotations

import json
import math

import pytest

from server.analysis.result_json import present, result_to_json
from tests.analysis.made_result import made_result


@pytest.fixture
def told() -> dict:
    """The object as a reader gets it: written strictly and read back."""
    return json.loads(json.dumps(result_to_json(made_result()), allow_nan=False))


def test_keys_are_the_agreed_ones(told: dict) -> None:
    assert list(told) == ["format", "name", "reference", "setups", "comparisons", "correlation", "findings"]
    assert told["format"] == 1
    assert told["correlation"] == []
    assert set(told["setups"][0]) == {"name", "estimates", "passes", "interval_method", "budget"}
    assert set(told["comparisons"][0]) == {"setup", "baseline", "deltas"}


def test_an_estimate_has_value_interval_unit_and_source(told: dict) -> None:
    assert told["setups"][0]["estimates"]["SCx"] == pytest.approx(
        {
            "value": 1.3849,
            "u": 0.0204,
            "u95": 0.0408,
            "low95": 1.3441,
            "high95": 1.4257,
            "unit": "m²",
            "source": "measured",
        }
    )


def test_a_dimensionless_quantity_has_the_unit_one(told: dict) -> None:
    assert told["setups"][0]["estimates"]["c0"]["unit"] == "1"


def test_what_cannot_be_had_is_absent(told: dict) -> None:
    a, b = told["setups"]
    assert set(a["estimates"]) == {"SCx", "SCz", "c0"}
    assert b["estimates"] == {}
    assert "interval_method" not in b
    assert "three_term" not in a["interval_method"]
    assert "scx_three_term" not in a["interval_method"]
    assert "precision" not in a["interval_method"]["windows"][1]
    assert a["interval_method"]["windows"][1]["times_out_s"] == [6.0]
    assert "p" not in told["comparisons"][0]["deltas"]["SCx"]
    assert told["reference"] == {"speed_mps": 22.0, "density_kgm3": 1.2, "note": "calm"}
    assert set(a["budget"][1]) == {"quantity", "input", "unit", "contribution", "type", "source"}
    assert "run" not in told["findings"][0]


def test_passes_say_which_way_and_why_not(told: dict) -> None:
    first, second, third = told["setups"][0]["passes"]
    assert first == {
        "run": 1,
        "kind": "coast-down",
        "direction": "out",
        "start_s": 10.0,
        "end_s": 28.5,
        "used": True,
        "reason": "",
    }
    assert second["direction"] == "back"
    assert (third["used"], third["reason"]) == (False, "brake at 22.0 s")
    assert told["setups"][1]["passes"][0]["direction"] == "unknown"


def test_differences_carry_what_the_day_could_have_seen(told: dict) -> None:
    assert set(told["comparisons"][0]["deltas"]["SCx"]) == {
        *("value", "u", "u95", "low95", "high95", "smallest_seen", "unit")
    }


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, None])
def test_no_number_is_no_entry(value: float | None) -> None:
    assert present({"a": value, "b": 0.0}) == {"b": 0.0}
