"""Every change of a day: the changed day written as a folder reads back as the changed day, and says so in words."""

from __future__ import annotations

import json
import re
import tempfile
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from server.days import changes
from server.days.changes import Change, plain
from server.errors import StillairError
from server.testday.defaults import MISSING, missing_c1
from server.testday.folder import read_folder, write_folder
from server.testday.role_table import ROLE_NAMES
from server.testday.values import Axle, Calibration, Car, Day, LogFile, PassEdit, Quantity, Run, Setup, Venue
from tests.testday.days import AXLES, CALIBRATIONS, CHANNELS, CLOCKS, NAMES, PART_VALUES, TEXTS, cars, days, weathers
from tests.testday.days import quantities as drawn_quantities
from tests.testday.days import setups as drawn_setups
from tests.testday.folders import FULL, FULL_FILES, MINIMAL, read

cheap = settings(
    max_examples=25,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # whole days take minutes to shrink
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)


def stated(day: Day) -> dict:
    """What a day says, without what reading it made one notice."""
    return {key: value for key, value in plain(day).items() if key != "findings"}


def holds(change: Change) -> Day:
    """The changed day goes through a folder unchanged; before, after are JSON; a sentence without an end mark."""
    with tempfile.TemporaryDirectory() as scratch:
        again = read_folder(write_folder(change.day, Path(scratch) / "day"))
    assert stated(again) == stated(change.day)
    for value in (change.before, change.after):
        assert json.loads(json.dumps(value, allow_nan=False)) == value
    assert change.what
    assert not change.what.endswith(".") or any(name in repr(change.after) for name in (".'", '."'))  # a name may
    assert re.fullmatch(r"[a-z]+-[a-z]+", change.kind)
    return change.day


def refused(sentence: str, *change_and_arguments) -> None:  # type: ignore[no-untyped-def]
    change, *arguments = change_and_arguments
    with pytest.raises(StillairError, match=re.escape(sentence)):
        change(*arguments)


@pytest.fixture
def full(tmp_path: Path) -> Day:
    return read(tmp_path / "full", FULL, FULL_FILES)


@pytest.fixture
def least(tmp_path: Path) -> Day:
    return read(tmp_path / "least", MINIMAL, {})


# The car


CAR_FIELDS = [field.name for field in fields(Car) if field.name not in {"front", "rear", "calibration"}]
AXLE_FIELDS = [field.name for field in fields(Axle)]


@cheap
@given(day=days(), other=cars(), field=st.sampled_from(CAR_FIELDS))
def test_any_property_of_a_car_can_be_corrected(day: Day, other, field: str) -> None:  # type: ignore[no-untyped-def]
    value = getattr(other, field)
    change = changes.change_car(day, field, value)
    assert getattr(holds(change).car, field) == value
    assert (change.before, change.after) == (plain(getattr(day.car, field)), plain(value))
    assert change.what.startswith(f"car: {field} from ")


@cheap
@given(day=days(), other=AXLES, axle=st.sampled_from(["front", "rear"]), field=st.sampled_from(AXLE_FIELDS))
def test_any_property_of_an_axle_can_be_corrected(day: Day, other, axle: str, field: str) -> None:  # type: ignore[no-untyped-def]
    value = getattr(other, field)
    changed = holds(changes.change_car(day, field, value, axle))
    assert getattr(getattr(changed.car, axle), field) == value
    untouched = "rear" if axle == "front" else "front"
    assert getattr(changed.car, untouched) == getattr(day.car, untouched)


def test_nothing_but_the_property_changes(full: Day) -> None:
    changed = changes.change_car(full, "mass_kg", Quantity(237.0, 0.5)).day
    assert replace(changed.car, mass_kg=full.car.mass_kg) == full.car
    assert stated(replace(changed, car=full.car)) == stated(full)


def test_the_mass_in_words(full: Day) -> None:
    change = changes.change_car(full, "mass_kg", Quantity(237.0, 0.5))
    assert change.what == "car: mass_kg from 236 (u 0.4) to 237 (u 0.5)"
    assert change.before == {"value": 236.0, "u": 0.4, "source": "typed"}
    assert changes.change_car(full, "pushrod_ratio", None, "rear").what.endswith("to nothing")


def test_a_default_c1_follows_c0_and_a_stated_one_stays(least: Day, full: Day) -> None:
    c0 = Quantity(0.025, 0.002)
    assert holds(changes.change_car(least, "rolling_c0", c0)).car.rolling_c1_s_per_m == missing_c1(c0)
    assert changes.change_car(full, "rolling_c0", c0).day.car.rolling_c1_s_per_m == full.car.rolling_c1_s_per_m


@pytest.mark.parametrize("driven", ["front", "rear", "all"])
def test_a_driven_axle_that_was_taken_for_granted_is_written_once_it_is_said(least: Day, driven: str) -> None:
    assert any("[car] driven " in finding.text for finding in least.findings)
    with tempfile.TemporaryDirectory() as scratch:
        again = read_folder(write_folder(changes.change_car(least, "driven", driven).day, scratch))
    assert again.car.driven == driven
    assert not any("[car] driven " in finding.text for finding in again.findings)


@pytest.mark.parametrize("name", ["colour", "front", "calibration", "__class__"])
def test_what_a_car_does_not_have_is_refused(least: Day, name: str) -> None:
    refused(f"A car has no property called {name}.", changes.change_car, least, name, None)


def test_a_third_axle_is_refused(least: Day) -> None:
    refused("An axle is front or rear, not middle.", changes.change_car, least, "heave_table", (), "middle")


@cheap
@given(day=days(), role=st.sampled_from(ROLE_NAMES), calibration=st.none() | CALIBRATIONS)
def test_a_calibration_is_given_changed_and_taken_away(day: Day, role: str, calibration: Calibration | None) -> None:
    assume(calibration is None or calibration.gain is not None or calibration.table or calibration.offset)
    change = changes.change_calibration(day, role, calibration)
    assert holds(change).car.calibration.get(role) == calibration
    words = "taken away" if calibration is None else "changed" if role in day.car.calibration else "given"
    assert change.what == f"calibration of {role} {words}"


# Runs and passes


@cheap
@given(data=st.data(), day=days())
def test_a_run_moves_to_any_setup_of_the_day(data, day: Day) -> None:  # type: ignore[no-untyped-def]
    run = data.draw(st.sampled_from(day.runs))
    name = data.draw(st.sampled_from([setup.name for setup in day.setups]))
    change = changes.move_run(day, run.number, name)
    changed = holds(change)
    assert changes.find_run(changed, run.number).setup == name
    assert [one.number for one in changed.runs] == [one.number for one in day.runs]
    assert (change.before, change.after) == (run.setup, name)


def test_a_run_moves_nowhere_that_is_not_there(full: Day) -> None:
    refused("This day has no run 99.", changes.move_run, full, 99, full.setups[0].name)
    refused("This day has no setup “Ω”; it has ", changes.move_run, full, full.runs[0].number, "Ω")


@cheap
@given(day=days(), new=NAMES, driver=drawn_quantities(0, 200), channels=CHANNELS)
def test_runs_come_with_logs_and_new_setups(day: Day, new: str, driver: Quantity, channels: dict[str, str]) -> None:
    assume(all(new != setup.name for setup in day.setups))
    first = max(run.number for run in day.runs) + 1
    runs = tuple(
        Run(first + n, new, (LogFile(f"logs/new{n}.csv"),), driver, channels=channels, coasting="neutral")
        for n in (0, 1)
    )
    files = {f"logs/new{n}.csv": Path(f"/nowhere/{n}") for n in (0, 1)}
    change = changes.add_runs(day, runs, files, (Setup(new, day.setups[0].name),))
    changed = holds(change)
    assert [run.number for run in changed.runs] == sorted([*(run.number for run in day.runs), first, first + 1])
    assert changed.setups[-1].name == new
    assert change.new_files == files
    assert change.what == f"runs {first}, {first + 1} added"


def test_a_run_that_is_there_or_in_no_setup_is_refused(full: Day) -> None:
    run = full.runs[0]
    refused(f"Run {run.number} is there already.", changes.add_runs, full, (run,), {})
    stray = replace(run, number=77, setup="none such")
    refused("Run 77 is in setup “none such”, which this day", changes.add_runs, full, (stray,), {})
    twice = (Setup(full.setups[0].name),)
    refused("is there already; revise it instead", changes.add_runs, full, (replace(run, number=77),), {}, twice)


@cheap
@given(
    data=st.data(),
    day=days(),
    facts=st.fixed_dictionaries(
        {},
        optional={
            "driver_mass_kg": drawn_quantities(0, 200, MISSING["driver_mass_kg"]),
            "coasting": st.sampled_from(["neutral", "clutch", "unknown"]),
            "direction": st.sampled_from([None, "out", "back"]),
            "start_clock_s": st.none() | CLOCKS,
            "notes": TEXTS,
            "channels": CHANNELS,
        },
    ).filter(bool),
)
def test_other_facts_of_a_run(data, day: Day, facts: dict) -> None:  # type: ignore[no-untyped-def]
    run = data.draw(st.sampled_from(day.runs))
    change = changes.change_run(day, run.number, **facts)
    changed = changes.find_run(holds(change), run.number)
    assert {name: getattr(changed, name) for name in facts} == facts
    assert change.before == {name: plain(getattr(run, name)) for name in facts}


def test_a_runs_setup_is_moved_not_changed_as_a_fact(full: Day) -> None:
    with pytest.raises(StillairError, match="A run's setup can't be changed here"):
        changes.change_run(full, full.runs[0].number, setup="B")


@cheap
@given(day=days(), start=st.floats(0, 1000), length=st.floats(1, 100), used=st.booleans())
def test_a_word_on_a_pass_and_its_way_back(day: Day, start: float, length: float, used: bool) -> None:
    run = replace(day.runs[0], passes=())
    day = replace(day, runs=(run, *day.runs[1:]))
    edit = PassEdit(start, start + length, used, "" if used else "traffic")
    change = changes.edit_pass(day, run.number, edit)
    assert holds(change).runs[0].passes == (edit,)
    assert (change.before, change.after) == (None, plain(edit))
    back = changes.clear_pass_edits(change.day, run.number, edit.start_s, edit.end_s)
    assert stated(holds(back)) == stated(day)
    assert back.before == [plain(edit)]


def test_a_later_word_on_the_same_pass_takes_the_place_of_the_earlier(full: Day) -> None:
    number = full.runs[-1].number
    day = changes.edit_pass(full, number, PassEdit(500.0, 520.0)).day
    moved = changes.edit_pass(day, number, PassEdit(503.0, 519.0), (500.0, 520.0))
    assert PassEdit(503.0, 519.0) in moved.day.runs[-1].passes
    assert PassEdit(500.0, 520.0) not in moved.day.runs[-1].passes
    assert moved.before == [plain(PassEdit(500.0, 520.0))]
    beside = changes.edit_pass(moved.day, number, PassEdit(519.0, 540.0)).day
    assert {PassEdit(503.0, 519.0), PassEdit(519.0, 540.0)} <= set(beside.runs[-1].passes)


def test_a_pass_left_out_needs_a_reason_and_an_end(full: Day) -> None:
    number = full.runs[0].number
    refused("Say why the pass is left out", changes.edit_pass, full, number, PassEdit(1.0, 9.0, False, " "))
    for end in (1.0, 0.5, float("nan")):
        refused("A pass must end after it starts", changes.edit_pass, full, number, PassEdit(1.0, end))
    refused("Nobody changed a pass between 8000.0 and", changes.clear_pass_edits, full, number, 8000.0, 8001.0)


# Setups


@cheap
@given(data=st.data(), day=days(), name=NAMES)
def test_a_setup_is_added(data, day: Day, name: str) -> None:  # type: ignore[no-untyped-def]
    names = [setup.name for setup in day.setups]
    assume(name not in names)
    setup = data.draw(drawn_setups(name, names))
    change = changes.add_setup(day, replace(setup, name=f" {name}  "))
    assert holds(change).setups == (*day.setups, setup)
    assert (change.before, change.after) == (None, plain(setup))


def test_a_setup_that_is_there_nameless_or_its_own_baseline_is_refused(full: Day) -> None:
    refused("is there already; revise it instead.", changes.add_setup, full, full.setups[0])
    refused("A setup needs a name", changes.add_setup, full, Setup(" "))
    refused("This day has no setup “Y”", changes.add_setup, full, Setup("X", "Y"))
    refused("leads back to itself (X → X)", changes.add_setup, full, Setup("X", "X"))


@cheap
@given(data=st.data(), day=days(), name=NAMES, parts=st.dictionaries(TEXTS, PART_VALUES, max_size=2))
def test_a_setup_that_was_run_is_revised_beside_it(data, day: Day, name: str, parts: dict) -> None:  # type: ignore[no-untyped-def]
    old = changes.find_setup(day, day.runs[0].setup)
    assume(all(name != setup.name for setup in day.setups))
    driven = changes.runs_of(day, old.name)
    moved = tuple(data.draw(st.sets(st.sampled_from(driven))))
    change = changes.revise_setup(day, old.name, replace(old, name=name, parts=parts), moved)
    changed = holds(change)
    assert changes.find_setup(changed, old.name) == old
    assert set(changes.runs_of(changed, name)) == set(moved)
    assert set(changes.runs_of(changed, old.name)) == set(driven) - set(moved)
    assert change.after == {"setup": plain(replace(old, name=name, parts=parts)), "runs": list(moved)}
    assert change.what.startswith(f"setup {old.name} revised as {name}")


def test_a_setup_that_was_run_keeps_its_name_and_only_its_runs_move(full: Day) -> None:
    run = full.runs[0]
    old = changes.find_setup(full, run.setup)
    refused("was run and stays as it is", changes.revise_setup, full, old.name, replace(old, notes="x"))
    refused("Run 99 was not driven in", changes.revise_setup, full, old.name, replace(old, name="new"), (99,))


@cheap
@given(day=days(), new=NAMES)
def test_a_setup_nobody_drove_changes_in_place_with_all_that_names_it(day: Day, new: str) -> None:
    assume(all(new not in (setup.name, "never") for setup in day.setups))
    assume(all(setup.name != "never" for setup in day.setups))
    day = replace(day, setups=(*day.setups, Setup("never"), Setup("never’s child", "never")))
    change = changes.revise_setup(day, "never", Setup(new, day.setups[0].name, notes="moved"))
    changed = holds(change)
    assert [setup.name for setup in changed.setups[-2:]] == [new, "never’s child"]
    assert changed.setups[-1].baseline == new
    assert change.kind == "setup-changed"
    assert change.what == f"setup never changed, now called {new}"


def test_a_circle_of_baselines_is_refused(full: Day) -> None:
    day = replace(full, setups=(*full.setups, Setup("P"), Setup("Q", "P"), Setup("R", "Q")))
    sentence = "The baseline of setup P leads back to itself (P → R → Q → P)."
    refused(sentence, changes.revise_setup, day, "P", Setup("P", "R"))
    refused("Setup “Q” is there already", changes.revise_setup, day, "P", Setup("Q"))


# The day


@cheap
@given(day=days(), weather=weathers())
def test_any_weather(day: Day, weather) -> None:  # type: ignore[no-untyped-def]
    change = changes.change_weather(day, tuple(reversed(weather)))
    assert holds(change).weather == weather
    assert change.after == [plain(one) for one in weather]
    assert change.what == f"weather: {len(weather)} reading" + ("s" if len(weather) > 1 else "")


def test_weather_that_no_folder_could_hold_is_refused(full: Day) -> None:
    one = replace(full.weather[0], clock_s=3600.0)
    refused("A day needs at least one reading", changes.change_weather, full, ())
    refused("each needs its time", changes.change_weather, full, (one, replace(one, clock_s=None)))
    refused("Two readings can't have the same time", changes.change_weather, full, (one, one))


@cheap
@given(data=st.data(), day=days(), channels=CHANNELS)
def test_roles_of_columns_for_the_day_or_for_one_run(data, day: Day, channels: dict[str, str]) -> None:  # type: ignore[no-untyped-def]
    run = data.draw(st.sampled_from(day.runs))
    assert holds(changes.change_channels(day, channels)).channels == channels
    changed = holds(changes.change_channels(day, channels, run.number))
    assert changes.find_run(changed, run.number).channels == channels
    assert changed.channels == day.channels


@cheap
@given(day=days(), other=days())
def test_facts_of_the_day(day: Day, other: Day) -> None:
    facts = {
        name: getattr(other, name) for name in ("name", "date", "notes", "reference_speed_mps", "timezone", "venue")
    }
    change = changes.change_day(day, **facts)
    changed = holds(change)
    assert {name: getattr(changed, name) for name in facts} == facts
    assert change.after["venue"] == plain(other.venue)
    assert change.what == "day: name, date, notes, reference speed mps, timezone, venue changed"


def test_a_days_runs_are_no_fact_of_it(full: Day) -> None:
    with pytest.raises(StillairError, match="A day's runs can't be changed here"):
        changes.change_day(full, runs=())
    assert changes.change_day(full, venue=Venue("elsewhere")).what == "day: venue changed"
