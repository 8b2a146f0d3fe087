"""What is entered between two outings: checks by name, the air, a setup by what was turned, the driver's word."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from server.days import checks
from server.days.form_fields import FieldError
from server.days.forms import change_of, form_of
from server.days.wanted_forms import wanted_area, wanted_differences
from server.testday.folder import read_folder, write_folder
from server.testday.values import Acknowledgement, Day, Quantity
from tests.testday.folders import read
from tests.web.day_site import DAY

EVERYTHING = (*checks.CAUTIONS, *checks.CHECKS)


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return read(tmp_path / "day", DAY, {})


def acknowledged(day: Day, clock_s: float, *items: str, who: str = "M. Quill") -> Day:
    return checks.acknowledge(day, Acknowledgement(clock_s, who, items)).day


def test_nothing_is_blocked_and_what_is_missing_is_said(day: Day) -> None:
    view = checks.checks_view(day)
    assert view.open == EVERYTHING
    assert view.sentence == (
        "Nothing is acknowledged yet. The program stops nobody; no car should leave before each has a name beside it. "
        "Runs 1 and 2 started without."
    )


def test_a_name_and_a_time_stand_beside_each_check(day: Day) -> None:
    day = acknowledged(day, 9 * 3600.0, *EVERYTHING)
    view = checks.checks_view(day)
    assert not view.open
    assert not view.unnamed
    assert {(line.who, line.when) for line in view.lines} == {("M. Quill", "09:00")}
    assert view.sentence == f"All {len(EVERYTHING)} are acknowledged by name, the last by M. Quill at 09:00."
    late = acknowledged(replace(day, acknowledged=()), 9.5 * 3600.0, *EVERYTHING)
    assert checks.checks_view(late).unnamed == (1,)  # it started at 09:20


def test_the_teams_own_checks_are_asked_too(day: Day) -> None:
    more = change_of(day, "checklist", {"items": ("steering lock tried\n\n  rear flap pin \nsteering lock tried",)}).day
    assert more.checklist == ("steering lock tried", "rear flap pin")
    assert "rear flap pin" in form_of(more, "checks").fields[0].options[-2][0]
    with pytest.raises(Exception, match="among the usual checks already"):
        change_of(day, "checklist", {"items": (checks.CHECKS[0].upper(),)})


def test_wind_and_wet_ask_again_until_somebody_decides(day: Day) -> None:
    day = acknowledged(day, 9 * 3600.0, *EVERYTHING)
    reading = replace(day.weather[0], clock_s=10 * 3600.0, wind_speed_mps=Quantity(6.0, 0.5), surface="damp")
    windy = replace(day, weather=(*day.weather, reading))
    assert checks.checks_view(windy).open == (checks.WINDY, checks.WET)
    decided = acknowledged(windy, 10.1 * 3600.0, checks.WINDY, checks.WET)
    assert not checks.checks_view(decided).open
    assert decided.acknowledged[-1].why == checks.CHANGED
    again = replace(decided, weather=(*decided.weather, replace(reading, clock_s=11 * 3600.0)))
    assert len(checks.checks_view(again).open) == 2


def test_the_zero_is_asked_before_each_run(day: Day) -> None:
    early, late = acknowledged(day, 9.5 * 3600.0, checks.ZERO), acknowledged(day, 9.8 * 3600.0, checks.ZERO)
    assert checks.checks_view(early).zero.open  # run 2 started at 09:41
    assert checks.checks_view(late).zero.who == "M. Quill"
    assert late.acknowledged[0].why == "before run 3"


@pytest.mark.parametrize(
    ("typed", "field"), [({"who": ("M. Quill",)}, "items"), ({"items": (checks.CHECKS[0],)}, "who")]
)
def test_who_and_what_are_both_needed(day: Day, typed: dict[str, tuple[str, ...]], field: str) -> None:
    with pytest.raises(FieldError) as refused:
        change_of(day, "checks", typed)
    assert refused.value.field == field


def test_the_air_in_two_taps_keeps_what_was_not_touched(day: Day) -> None:
    form = {field.name: field for field in form_of(day, "air").fields}
    assert [words for _, words in form["from"].options] == ["N", "NE", "E", "SE", "S", "SW", "W", "NW"]
    typed = {name: (field.value,) for name, field in form.items()}
    made = change_of(day, "air", {**typed, "from": ("225",), "wind": ("3",), "time": ("09:50",)}).day.weather
    assert made[-1].pressure_pa == made[0].pressure_pa
    assert made[-1].temperature_k == made[0].temperature_k
    wind, origin = made[-1].wind_speed_mps, made[-1].wind_from_rad
    assert wind is not None
    assert origin is not None
    assert (wind.value, round(origin.value, 4), made[-1].surface) == (3.0, 3.927, "dry")


def test_a_setup_by_what_was_turned(day: Day) -> None:
    flapped = replace(day, setups=(replace(day.setups[0], parts={"rear flap": 30.0, "nose": "low"}), *day.setups[1:]))
    typed = {"name": ("C",), "baseline": ("A",), "part_1": ("rear flap",), "to_1": ("+2,5",), "ballast": ("4",)}
    made = change_of(flapped, "turn", typed).day.setups[-1]
    assert (made.name, made.baseline, made.parts) == ("C", "A", {"rear flap": 32.5, "nose": "low"})
    assert made.ballast_kg is not None
    assert made.ballast_kg.value == 4.0
    word = change_of(flapped, "turn", {**typed, "to_1": ("steep",), "ballast": ("",)}).day.setups[-1]
    assert word.parts["rear flap"] == "steep"
    lower = change_of(flapped, "turn", {**typed, "to_1": ("−2",)}).day.setups[-1]
    assert lower.parts["rear flap"] == 28.0


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({}, "Say what was turned or fitted"),
        ({"part_1": ("gurney",)}, "Say what gurney was turned to"),
        ({"to_1": ("3",)}, "Say what was turned to “3”"),
        ({"part_1": ("gurney",), "to_1": ("+1",)}, "gurney has no number in the other setup"),
    ],
)
def test_a_turn_that_says_too_little_is_refused(day: Day, typed: dict[str, tuple[str, ...]], sentence: str) -> None:
    with pytest.raises(FieldError, match=sentence):
        change_of(day, "turn", {"name": ("C",), "baseline": ("A",), **typed})


def test_the_drivers_word_and_tyre_pressures_survive_the_folder(day: Day, tmp_path: Path) -> None:
    typed = {
        "driver": ("  R. Sands ",),
        "remarks": ("light at the rear\nabove 90",),
        "cold": ("0,95", "0.95", "0.90", ""),
        "hot": ("1.02", "", "", ""),
    }
    change = change_of(day, "remarks.2", typed)
    assert change.kind == "run-remarked"
    run = change.day.runs[1]
    assert (run.driver, run.tyre_cold_pa, run.tyre_hot_pa) == (
        "R. Sands", (95_000.0, 95_000.0, 90_000.0, None), (102_000.0, None, None, None),
    )  # fmt: skip
    again = read_folder(write_folder(change.day, tmp_path / "again")).runs[1]
    assert (again.driver, again.remarks) == (run.driver, run.remarks)
    assert (again.tyre_cold_pa, again.tyre_hot_pa) == (run.tyre_cold_pa, run.tyre_hot_pa)
    with pytest.raises(FieldError, match=r"must lie between 0 and 10 bar, not 14.*pounds"):
        change_of(day, "remarks.2", {**typed, "cold": ("14", "14", "14", "14")})


def test_wanted_widths_of_differences_and_of_all(day: Day) -> None:
    said = change_of(day, "wanted", {"difference_2": ("0.04",)}).day
    assert (wanted_area(said), wanted_differences(said)) == (None, {("B", "A"): 0.04})
    both = change_of(said, "wanted", {"each": ("0.05",), "difference_2": ("0.04",)}).day
    assert wanted_area(both) == 0.05
    turned = {"name": ("C",), "baseline": ("B",), "part_1": ("x",), "to_1": ("y",)}
    third = change_of(said, "turn", turned).day
    more = change_of(third, "wanted", {"difference_2": ("0.04",), "difference_3": ("0.06",)}).day
    assert wanted_differences(more) == {("B", "A"): 0.04, ("C", "B"): 0.06}
