"""What others changed of a day since somebody saw it: which changes it forbids."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from server.days import changes
from server.days.meanwhile import touched
from server.days.weather_forms import change as change_air
from server.testday.folder import read_folder
from server.testday.values import Day, Quantity
from tests.testday.folders import FULL, FULL_FILES, make


@pytest.fixture
def day(tmp_path: Path) -> Day:
    made = read_folder(make(tmp_path / "day", FULL, FULL_FILES))
    air = made.weather[0]
    return replace(made, weather=tuple(replace(air, clock_s=3600.0 * hour) for hour in (9, 10, 11)))


def air(one: Day, slug: str, clock: str, celsius: str) -> Day:
    typed = {"time": (clock,), "pressure": ("1009",), "temperature": (celsius,), "humidity": ("50",)}
    return change_air(one, slug, typed).day


def test_two_runs_two_facts_and_two_readings_are_each_a_thing_of_their_own(day: Day) -> None:
    before, number = day, day.runs[-1].number
    notes = touched(before, changes.change_run(before, number, notes="x").day)
    driver = touched(before, changes.change_run(before, number, driver_mass_kg=Quantity(80.0, 1.0)).day)
    assert notes == {("runs", f"number {number}", "notes")}
    assert driver == {("runs", f"number {number}", "driver_mass_kg")}
    one, other = (touched(before, air(before, "weather", clock, "18")) for clock in ("10:30", "10:40"))
    assert one
    assert not one & other
    assert {path[:2] for path in one} == {("weather", "clock_s 37800.0")}


def test_a_reading_named_by_its_place_is_another_one_when_one_came_before_it(day: Day) -> None:
    before = day
    later = air(before, "weather", "09:30", "18")
    meant = touched(before, air(before, "weather.2", "10:05", "19"))
    does = touched(later, air(later, "weather.2", "10:05", "19"))
    assert not does <= meant
