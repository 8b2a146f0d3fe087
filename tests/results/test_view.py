"""The layout of a result: everything it holds is on it, in screen units."""

from __future__ import annotations

import dataclasses

import pytest

from server.results.quantities import ESTIMATES, reference_lines, value_view
from server.results.view import result_view
from tests.web.made_up import estimate, made_up_day_result


def test_every_estimate_stands_in_its_row() -> None:
    result = made_up_day_result("ABC")
    view = result_view(result, 0.03)
    assert len(view.estimates) == len(result.setups[0].estimates)
    assert all(len(row.values) == 3 for row in view.estimates)


def test_what_one_setup_lacks_is_none_not_nothing() -> None:
    result = made_up_day_result("AB")
    poor = dataclasses.replace(result.setups[0], estimates={"c0": result.setups[0].estimates["c0"]})
    rows = result_view(dataclasses.replace(result, setups=(poor, result.setups[1])), 0.03).estimates
    assert [row.values[0] is None for row in rows if row.shown.label == "Drag area SCx"] == [True]


def test_every_pass_is_there_in_order_with_its_reason() -> None:
    result = made_up_day_result("AB")
    rows = result_view(result, 0.03).passes
    assert len(rows) == sum(len(setup.passes) for setup in result.setups)
    assert [row.run for row in rows if row.setup == "A"] == sorted(row.run for row in rows if row.setup == "A")
    (down, _) = [row for row in rows if not row.used]
    assert (down.speeds, down.direction, down.own) == ("95 → 72", "out", "")
    assert down.reason.startswith("the brake was touched")
    used = [row for row in rows if row.used and row.kind == "coast-down"]
    assert all(row.own and "inferred" in row.reason for row in used)


@pytest.mark.parametrize(
    ("name", "value", "u", "unit", "text"),
    [
        ("SCx", 1.3842, 0.0207, "m²", "1.384 ± 0.041 m²"),
        ("grade", 0.0014, 0.0003, "", "0.140 ± 0.059 %"),
        ("balance_front", 0.47, 0.021, "", "47.0 ± 4.1 %"),
        ("c1", 0.00019, 0.00009, "s/m", "0.00019 ± 0.00018 s/m"),
    ],
)
def test_values_in_screen_units(name: str, value: float, u: float, unit: str, text: str) -> None:
    view = value_view(name, estimate(value, u, unit))
    assert view.text == text
    assert view.detail.startswith("u ")
    assert ESTIMATES[name].label


def test_reference_condition_in_screen_units() -> None:
    lines = dict(
        reference_lines({"speed_mps": 22.0, "temperature_k": 290.15, "front_ride_height_m": 0.034, "note": None})
    )
    assert lines == {
        "Speed": "79.2 km/h (22.0 m/s)",
        "Temperature": "17.0 °C",
        "Front ride height": "34.0 mm",
    }


def test_budget_shares_make_a_whole() -> None:
    view = result_view(made_up_day_result("A"), 0.03)
    shares = [int(row.share.removesuffix(" %")) for row in view.setups[0].budget]
    assert sum(shares) == pytest.approx(100, abs=2)
    assert shares == sorted(shares, reverse=True)
