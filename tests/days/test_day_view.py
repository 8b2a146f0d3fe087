"""What a day's page shows of the day itself: the age of the air, its runs, the days beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from server.days.adding_typed import typed_log
from server.days.adding_view import UNITS, add_view
from server.days.day_view import air_view, day_marks, neighbours, run_rows
from server.days.form_fields import FieldError
from server.days.tables import StoredDay
from server.testday.units import unit_of
from server.testday.values import Day, Quantity, Setup
from tests.testday.folders import FULL, FULL_FILES, read


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return read(tmp_path, FULL, FULL_FILES)


def with_times(day: Day, *, read_at: float | None, started: float | None) -> Day:
    runs = tuple(replace(run, start_clock_s=started) for run in day.runs)
    return replace(day, weather=(replace(day.weather[0], clock_s=read_at),), runs=runs)


@pytest.mark.parametrize(
    ("read_at", "started", "sentence", "old"),
    [
        (36000.0, 38460.0, "Air read at 10:00, 41 minutes before the last run (run {n}, 10:41). Read it again.", True),
        (36000.0, 37800.0, "Air read at 10:00, 30 minutes before the last run (run {n}, 10:30).", False),
        (36000.0, 36060.0, "Air read at 10:00, 1 minute before the last run (run {n}, 10:01).", False),
        (36000.0, 36010.0, "Air read at 10:00, with the last run (run {n}, 10:00).", False),
        (36000.0, 35400.0, "Air read at 10:00, 10 minutes after the start of the last run (run {n}, 09:50).", False),
        (36000.0, None, "Air last read at 10:00; no run has a start time to compare it with.", False),
        (None, 36000.0, "One reading of the air holds all day; another shows how it moves.", True),
    ],
)
def test_the_age_of_the_air(day: Day, read_at: float | None, started: float | None, sentence: str, old: bool) -> None:
    changed = with_times(day, read_at=read_at, started=started)
    view = air_view(changed)
    assert (view.sentence, view.old) == (sentence.format(n=changed.runs[0].number), old)


def test_a_run_that_no_fit_saw_has_no_passes(day: Day) -> None:
    number = day.runs[0].number
    kept = [{"run": number, "found": 5, "used": 3, "directions": [-1, 1], "findings": {"check": 2}}]
    first, *others = run_rows(day, kept)
    assert (first.passes, first.direction, first.grades) == ("3 of 5", "both ways", (("check", 2),))
    assert all(row.passes == "" and row.grades == () for row in others)
    assert [row.passes for row in run_rows(day, [])] == [""] * len(day.runs)


def test_a_default_driver_is_called_one(day: Day) -> None:
    run = replace(day.runs[0], driver_mass_kg=Quantity(75.0, 10.0, "default"))
    assert run_rows(replace(day, runs=(run,)), [])[0].driver == "a default"


def test_setups_that_were_driven_keep_the_hues_that_a_result_gives_them(day: Day) -> None:
    """A result knows only those with runs; one that nobody drove yet must not push their colours on."""
    alone = replace(day, setups=(Setup("idle"), *day.setups))
    driven = [setup.name for setup in day.setups if any(run.setup == setup.name for run in day.runs)]
    assert [day_marks(alone)[name].index for name in driven] == list(range(len(driven)))


def test_neighbours_of_the_first_and_the_last() -> None:
    days = [StoredDay(id=n, name=f"day {n}") for n in (3, 1, 2)]  # the latest first
    told = [[one and one.id for one in neighbours(days, n)] for n in (3, 1, 2)]
    assert told == [[1, None], [2, 3], [None, 1]]


def test_a_new_run_starts_as_the_last_one(day: Day) -> None:
    last = max(day.runs, key=lambda run: run.number)
    view = add_view(day)
    assert (view.facts["setup"], view.facts["coasting"]) == (last.setup, last.coasting)
    assert (view.facts["start"], view.facts["direction"], view.facts["notes"]) == ("", "", "")
    assert view.new["name"] not in {setup.name for setup in day.setups}


@pytest.mark.parametrize(("dimension", "spellings"), UNITS.items())
def test_units_to_choose_from_are_units_of_their_kind(dimension: str, spellings: tuple[str, ...]) -> None:
    assert {unit_of(spelling).dimension for spelling in spellings} == {dimension}


def test_typed_rows_keep_their_digits_and_blank_ones_fall_out() -> None:
    typed = {"from": ("80", "", "70"), "to": ("70", "", "60"), "out": ("6,10", "", "7.4"), "back": ("", "", "8")}
    assert typed_log(typed).decode().splitlines()[1:] == ["80;70;6,10;", "70;60;7.4;8"]


def test_a_row_is_named_as_the_page_counts_it() -> None:
    with pytest.raises(FieldError, match=r"^Row 2: seconds_back 'x' is no number\.$"):
        typed_log({"from": ("80", "70"), "to": ("70", "60"), "out": ("6", "7"), "back": ("7", "x"), "gain": ("1.04",)})
