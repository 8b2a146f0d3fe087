"""A result written and read back is the same to the last bit."""

from __future__ import annotations

import dataclasses
import io
import json
import math
import zipfile
from pathlib import Path

import numpy as np
import pytest

from server.analysis.result import DayResult
from server.results.codec import result_from_bytes, result_to_bytes
from tests.results.made_loads import loaded_day
from tests.web.made_up import made_up_day_result


def same(one: object, other: object) -> bool:
    """Equal in type and value, arrays bit by bit, NaN equal to itself."""
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and one.dtype == other.dtype and one.tobytes() == other.tobytes()
    if dataclasses.is_dataclass(one):
        fields = dataclasses.fields(one)
        return type(one) is type(other) and all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields)
    if isinstance(one, tuple | list):
        return type(one) is type(other) and len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict):
        return isinstance(other, dict) and list(one) == list(other) and all(same(one[k], other[k]) for k in one)
    if isinstance(one, float) and math.isnan(one):
        return isinstance(other, float) and math.isnan(other)
    return type(one) is type(other) and one == other


@pytest.mark.parametrize("setups", ["A", "ABC"])
def test_round_trip_is_exact(setups: str) -> None:
    result = made_up_day_result(setups)
    assert same(result, result_from_bytes(result_to_bytes(result)))


@pytest.mark.parametrize("heights", [True, False])
def test_axle_loads_come_back_whole(heights: bool) -> None:
    result = loaded_day("AB", heights=heights)
    again = result_from_bytes(result_to_bytes(result))
    assert same(result, again)
    assert again.setups[0].fits[0].loads[0].friction_n.size > 10
    assert again.source_checks == result.source_checks


def test_a_result_kept_by_the_first_version_still_opens() -> None:
    """The file was written by version 0.1.0, before axle loads were known, and is kept as it came."""
    kept = result_from_bytes((Path(__file__).parent / "kept-0.1.0.zip").read_bytes())
    assert kept.version == "0.1.0"
    assert kept.setups[0].estimates["SCx"].value == 1.52
    assert kept.setups[0].fits[0].speed_mps.size == 12
    assert (kept.setups[0].fits[0].loads, kept.setups[0].at_speeds, kept.load_sources) == ((), (), ())
    assert kept.setups[0].bend is None


def test_odd_numbers_survive() -> None:
    result = made_up_day_result("A")
    odd = {"a": math.nan, "b": math.inf, "c": 5e-324, "d": 0.1 + 0.2, "e": None, "f": "−"}
    fit = dataclasses.replace(result.setups[0].fits[0], gust_mps=np.array([math.nan, -math.inf, -0.0]))
    setup = dataclasses.replace(result.setups[0], fits=(fit,), interval_method=None, sample_scx=None)
    result = dataclasses.replace(result, reference=odd, setups=(setup,))
    assert same(result, result_from_bytes(result_to_bytes(result)))


def test_the_same_result_gives_the_same_bytes() -> None:
    assert result_to_bytes(made_up_day_result("AB")) == result_to_bytes(made_up_day_result("AB"))


def test_whole_numbers_come_back_as_the_floats_they_stand_for() -> None:
    result = dataclasses.replace(made_up_day_result("A"), setups=())
    content = result_to_bytes(
        dataclasses.replace(
            result, noise={"x": dataclasses.replace(made_up_day_result("A").noise["gust_mps"], value=1)}
        )
    )
    assert type(result_from_bytes(content).noise["x"].value) is float


def test_another_format_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("result.json", json.dumps({"format": 99, "result": {}}))
    with pytest.raises(ValueError, match="format must be 1"):
        result_from_bytes(out.getvalue())


def test_what_a_result_may_not_hold_is_said() -> None:
    result: DayResult = dataclasses.replace(made_up_day_result("A"), reference={"x": object()})  # type: ignore[dict-item]
    with pytest.raises(TypeError, match="object"):
        result_to_bytes(result)
