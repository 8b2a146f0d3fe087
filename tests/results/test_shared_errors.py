"""The part of u that days share, by the lines of the budget."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest

from server.analysis import day_budget
from server.results.shared_errors import OF_THE_DAY, shared_u
from server.results.summary import summarise
from tests.web.made_up import made_up_day_result


def test_what_is_drawn_anew_each_day_is_named_as_the_budget_names_it() -> None:
    source = Path(day_budget.__file__).read_text("utf-8")
    assert [label for label in OF_THE_DAY if f'"{label}"' not in source] == []


def test_stated_inputs_are_shared_and_the_data_are_not() -> None:
    setup = made_up_day_result("A").setups[0]
    stated = [line.contribution for line in setup.budget if line.type == "B"]
    assert len(stated) == 4
    assert shared_u(setup, "SCx") == pytest.approx(math.sqrt(sum(one**2 for one in stated)))
    assert shared_u(setup, "SCx") < setup.estimates["SCx"].u


def test_a_passs_own_wind_is_not_shared() -> None:
    setup = made_up_day_result("A").setups[0]
    wind = dataclasses.replace(setup.budget[1], input="mean wind of each pass")
    less = dataclasses.replace(setup, budget=(setup.budget[0], wind, *setup.budget[2:]))
    assert shared_u(less, "SCx") < shared_u(setup, "SCx")


def test_without_a_budget_all_of_u_may_be_shared() -> None:
    setup = made_up_day_result("A").setups[0]
    assert shared_u(setup, "SCz") == setup.estimates["SCz"].u
    assert summarise(made_up_day_result("A"))["setups"][0]["shared_u"]["SCz"] == setup.estimates["SCz"].u


def test_it_is_never_more_than_u() -> None:
    setup = made_up_day_result("A").setups[0]
    wide = dataclasses.replace(setup.budget[1], contribution=1.0)
    assert shared_u(dataclasses.replace(setup, budget=(wide,)), "SCx") == setup.estimates["SCx"].u
