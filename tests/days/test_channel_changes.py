"""Roles given by a person: through a folder unchanged, for one run or all, and what days to come are told of it."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.days import changes
from server.testday.role_table import ROLE_NAMES, ROLES
from server.testday.roles import same_column
from server.testday.values import Day
from tests.days.test_changes import cheap, full, holds, refused, stated
from tests.testday.days import TEXTS, days

__all__ = ["full"]
COLUMNS = TEXTS.filter(lambda text: bool(text.strip()) and text != "-")


@cheap
@given(day=days(), role=st.sampled_from(ROLE_NAMES), column=COLUMNS)
def test_a_role_for_all_runs_holds_in_each(day: Day, role: str, column: str) -> None:
    changed = holds(changes.assign_role(day, None, role, column))
    for run in changed.runs:
        assert {**changed.channels, **run.channels}[role] == column
        assert role not in run.channels


@cheap
@given(day=days(), role=st.sampled_from(ROLE_NAMES), column=COLUMNS, data=st.data())
def test_a_role_for_one_run_leaves_the_others(day: Day, role: str, column: str, data: st.DataObject) -> None:
    assume(day.runs)
    number = data.draw(st.sampled_from([run.number for run in day.runs]))
    changed = holds(changes.assign_role(day, number, role, column))
    assert changed.channels == day.channels
    for run, was in zip(changed.runs, day.runs, strict=True):
        if run.number == number:
            assert run.channels[role] == column
        else:
            assert run.channels == was.channels


@cheap
@given(day=days(), roles=st.lists(st.sampled_from(ROLE_NAMES), min_size=2, max_size=2, unique=True), column=COLUMNS)
def test_a_column_plays_the_role_that_was_said_last(day: Day, roles: list[str], column: str) -> None:
    first = changes.assign_role(day, None, roles[0], column).day
    second = holds(changes.assign_role(first, None, roles[1], column))
    assert [role for role, text in second.channels.items() if same_column(text, column)] == [roles[1]]


def test_the_unit_stands_behind_the_column(full: Day) -> None:
    change = changes.assign_role(full, full.runs[0].number, "gps_speed", "Speed 3", "km/h")
    assert holds(change).runs[0].channels["gps_speed"] == "Speed 3 [km/h]"
    assert change.remember == {"gps_speed": "Speed 3 [km/h]"}
    assert change.kind == "role-assigned"
    assert change.what == f"run {full.runs[0].number}: column “Speed 3 [km/h]” plays the satellite speed"
    assert stated(change.day) != stated(full)


def test_no_column_plays_a_role_and_nothing_is_remembered(full: Day) -> None:
    change = changes.assign_role(full, None, "gps_speed", "-", "km/h")
    assert holds(change).channels["gps_speed"] == "-"
    assert change.remember == {}
    assert change.what == "all runs: no column plays the satellite speed"


def test_a_time_is_said_but_not_remembered(full: Day) -> None:
    assert changes.assign_role(full, None, "time", "clock").remember == {}


def test_brackets_that_hold_no_unit_are_part_of_a_name() -> None:
    assert same_column("Speed [km/h]", "speed")
    assert not same_column("Temp (front)", "Temp (rear)")


def test_what_makes_no_sense_is_refused_in_a_sentence(full: Day) -> None:
    refused("There is no role called “gps”.", changes.assign_role, full, None, "gps", "speed")
    refused("Say which column plays the role.", changes.assign_role, full, None, "gps_speed", " ")
    refused("“blorp” is no unit known here", changes.assign_role, full, None, "gps_speed", "v", "blorp")
    refused("“[km/h” is no unit known here", changes.assign_role, full, None, "gps_speed", "v", "[km/h")
    refused("The satellite speed cannot be in mm", changes.assign_role, full, None, "gps_speed", "v", "mm")
    refused("This day has no run 99.", changes.assign_role, full, 99, "gps_speed", "v")


@pytest.mark.parametrize("role", ROLES)
def test_every_role_takes_the_unit_that_its_example_shows(full: Day, role: str) -> None:
    unit = ROLES[role].example_unit
    assert changes.assign_role(full, None, role, "x", unit).remember == {role: f"x [{unit}]"}
