"""Settings as they are said: a unit at the end of a name is a unit, anything else stays."""

from __future__ import annotations

import pytest

from server.testday.setting_names import as_said, axis_name


@pytest.mark.parametrize(
    ("name", "text", "words", "axis"),
    [
        ("rear_flap_deg", "22", "rear flap 22°", "rear flap [°]"),
        ("rake_deg", "−0.5", "rake −0.5°", "rake [°]"),
        ("gap_mm", "3.5", "gap 3.5 mm", "gap [mm]"),
        ("cold_pressure_bar", "0.9", "cold pressure 0.9 bar", "cold pressure [bar]"),
        ("rear_flap_deg", "low", "rear flap low", "rear flap [°]"),
        ("gurney", "yes", "gurney yes", "gurney"),
        ("wing_c", "2", "wing c 2", "wing c"),
        ("deg", "4", "deg 4", "deg"),
        ("mm", "4", "mm 4", "mm"),
        ("nose", "", "nose ", "nose"),
    ],
)
def test_a_setting_is_said_with_its_unit(name: str, text: str, words: str, axis: str) -> None:
    assert as_said(name, text) == words
    assert axis_name(name) == axis
