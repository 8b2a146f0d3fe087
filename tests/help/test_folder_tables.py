"""The help's tables of the test-day folder against what its reading takes."""

from __future__ import annotations

import pytest

from server.help.folder_tables import PLACES, key_tables, role_lines
from server.testday import folder_keys
from server.testday.folder_keys import Key
from server.testday.role_table import ROLES
from tests.testday.folders import MINIMAL, read

ELSEWHERE = {"TRAVEL", "AXLE_FORCE", "READING", "DISTANCE", "ELEVATION", "YAW", "SPEED", "START", "END"}
ELSEWHERE |= {"SCX", "SCZ_TOTAL"}


def test_every_number_of_the_folder_has_a_line() -> None:
    told = {key.name for _, found in PLACES for key in found}
    named = {name: key for name, key in vars(folder_keys).items() if isinstance(key, Key)}
    stand_tests = {name for name in named if name.startswith(("LOADING_SHARE", "BARE", "LOADED"))}
    assert {name for name, key in named.items() if key.name not in told} == ELSEWHERE | stand_tests


def test_what_is_said_to_stand_for_a_missing_number_does(tmp_path) -> None:  # type: ignore[no-untyped-def]
    day = read(tmp_path / "least", MINIMAL, {})
    lines = {line.name: line for _, found in key_tables() for line in found}
    assert lines["wheelbase_m"].missing == f"{day.car.wheelbase_m.value:g}, u {day.car.wheelbase_m.u:.2g}"
    tyre = day.car.front.tyre_rate_n_per_m
    assert lines["tyre_rate_n_per_mm"].missing == f"{tyre.value / 1000:g}, u {tyre.u / 1000:.2g}"
    assert float(lines["mass_kg"].bare_u) == pytest.approx(day.car.mass_kg.u)
    assert lines["mass_kg"].missing == "required"


def test_every_role_has_a_line() -> None:
    assert [name for name, _, _ in role_lines()] == list(ROLES)
