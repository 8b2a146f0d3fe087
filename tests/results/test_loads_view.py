"""Loads, heights and stand tests laid out; many notes of one code in one line."""

from __future__ import annotations

import dataclasses
import math

from server.results.finding_groups import finding_groups
from server.results.loads_view import loads_view
from server.results.view import result_view
from server.testday.values import Finding
from tests.results.made_loads import SPEEDS_MPS, estimate, loaded_day
from tests.web.made_up import made_up_day_result


def test_a_day_without_loads_has_nothing_to_show() -> None:
    view = loads_view(made_up_day_result("AB"))
    assert (view.sources, view.areas, view.checks, view.zeros) == ("", (), (), ())
    assert (view.bends, view.weights, view.speeds, view.stands) == ((), (), (), ())


def test_speeds_are_a_row_each_in_screen_units() -> None:
    (table,) = loads_view(loaded_day("A")).speeds
    assert table.columns == (
        *("speed [km/h]", "downforce [N]", "front wheel [N]", "rear wheel [N]"),
        *("ride height front [mm]", "rear [mm]", "rake [°]"),
    )
    assert len(table.rows) == len(SPEEDS_MPS)
    assert table.rows[3] == (
        *("79", "1041 ± 24", "964 ± 10", "1086 ± 12", "26.8 ± 1.0", "30.1 ± 1.1"),
        "0.124 ± 0.034",
    )


def test_without_heights_the_sinks_stand_there() -> None:
    (table,) = loads_view(loaded_day("A", heights=False)).speeds
    assert table.columns[-2:] == ("sunk front [mm]", "sunk rear [mm]")


def test_a_hole_is_an_empty_cell() -> None:
    day = loaded_day("A")
    speeds = list(day.setups[0].at_speeds)
    speeds[0] = dataclasses.replace(speeds[0], rake_rad=estimate(math.nan, 1.0, "rad"))
    setup = dataclasses.replace(day.setups[0], at_speeds=tuple(speeds))
    (table,) = loads_view(dataclasses.replace(day, setups=(setup,))).speeds
    assert table.rows[0][-1] == ""
    assert table.rows[1][-1] != ""


def test_stand_tests_against_what_was_entered() -> None:
    t0, t1, rate = loads_view(loaded_day("A")).stands
    assert (t0.quantity, t0.measured, t0.entered) == ("Driveline drag T0", "6.40 ± 0.78 N", "6.0 ± 2.9 N")
    assert t0.words == "agrees with what was entered"
    assert (t1.entered, t1.words) == ("", "nothing was entered")
    assert (rate.measured, rate.entered) == ("35.40 ± 0.59 N/mm", "33.00 ± 0.65 N/mm")
    assert rate.words.startswith("5.4 u from what was entered")


def test_zeros_only_of_sources_that_have_them() -> None:
    rows = loads_view(loaded_day("AB")).zeros
    assert {(row.mark.letter, row.axle, row.source) for row in rows} == {
        (letter, axle, "damper travel") for letter in "AB" for axle in ("front axle", "rear axle")
    }
    assert {row.passes for row in rows} == {10}


def test_the_budget_shown_is_of_the_quantity_asked_for() -> None:
    view = result_view(loaded_day("A"), 0.03, "balance_front")
    assert view.budget_of == "balance"
    assert [row.contribution for row in view.setups[0].budget][:2] == ["0.26 points", "0.24 points"]
    shares = [int(row.share.removesuffix(" %")) for row in view.setups[0].budget]
    assert shares == sorted(shares, reverse=True)


def test_differences_of_balance_are_in_points() -> None:
    (row,) = [row for row in result_view(loaded_day("AB"), 0.03).deltas if row.quantity == "Balance"]
    assert (row.change, row.smallest, row.shared) == ("−3.71 ± 0.59 points", "0.84 points", "0.45 points")


def test_many_notes_of_one_code_become_one_line() -> None:
    notes = [Finding("default-used", "note", f"No value {i}.") for i in range(14)]
    others = [
        Finding("wind-limit", "check", "Windy."),
        Finding("no-area", "stop", "None."),
        *(Finding("few-passes", "check", f"Few in {i}.") for i in range(4)),
        Finding("date-ambiguous", "note", "Which day?"),
    ]
    groups = finding_groups([*notes, *others])
    assert [group.grade for group in groups] == ["stop", *["check"] * 5, "note", "note"]
    assert sum(len(group.findings) for group in groups) == len(notes) + len(others)
    (folded,) = [group for group in groups if group.text]
    assert folded.text.startswith("14 notes: A property of the car, its driver or the air was not given")
    assert [one.text for one in folded.findings] == [note.text for note in notes]


def test_a_pair_of_notes_is_not_folded() -> None:
    groups = finding_groups([Finding("default-used", "note", str(i)) for i in range(2)])
    assert [group.text for group in groups] == ["", ""]
