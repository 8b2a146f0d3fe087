"""Units of logger headers against published factors and against a general units library."""

import numpy as np
import pint
import pytest

from server.testday.unit_table import EXACT, PLAIN, TABLE
from server.testday.units import UnitMismatchError, UnknownUnitError, is_unit, to_si, unit_of

REGISTRY = pint.UnitRegistry()

# NIST SP 811 (2008), table B.8 "factors for units listed alphabetically", as printed there (from memory).
# Tolerance: half the last printed digit; those printed in bold are exact.
NIST = [
    ("mph", 0.44704, 0.0),
    ("knots", 0.5144444, 5e-8),
    ("ft/s", 0.3048, 0.0),
    ("psi", 6894.757, 5e-4),
    ("lbf", 4.448222, 5e-7),
    ("kgf", 9.80665, 0.0),
    ("lbf*ft", 1.355818, 5e-7),
    ("in*lbf", 0.1129848, 5e-8),
    ("g", 9.80665, 0.0),
    ("atm", 101325.0, 0.0),
    ("rpm", 0.1047198, 5e-8),
    ("deg", 0.01745329, 5e-9),
    ("arcmin", 2.908882e-4, 5e-11),
    ("lb", 0.45359237, 0.0),
    ("mbar", 100.0, 0.0),
]


@pytest.mark.parametrize(("spelling", "factor", "half_digit"), NIST)
def test_published_factors(spelling, factor, half_digit):
    assert unit_of(spelling).scale == pytest.approx(factor, rel=1e-15, abs=half_digit)


@pytest.mark.parametrize("name", [name for name in TABLE if not name.startswith("1e-7")])
def test_every_row_against_a_general_library(name):
    zero, one = (REGISTRY.Quantity(x, name).to_base_units().magnitude for x in (0.0, 1.0))
    unit = TABLE[name]
    assert unit.scale == pytest.approx(one - zero, rel=1e-12)
    assert unit.offset == pytest.approx(zero, rel=1e-12, abs=1e-12)


def test_rows_of_one_kind_have_one_dimension_in_the_library():
    kinds: dict[str, set[object]] = {}
    for name, unit in TABLE.items():
        if not name.startswith("1e-7"):
            kinds.setdefault(unit.dimension, set()).add(REGISTRY.Quantity(1, name).to_base_units().units)
    assert all(len(units) == 1 for units in kinds.values()), kinds


@pytest.mark.parametrize(
    ("spelling", "value", "dimension", "si"),
    [
        ("km/h", 36.0, "speed", 10.0),
        ("[km/h]", 36.0, "speed", 10.0),
        ("(kph)", 36.0, "speed", 10.0),
        ("KMH", 36.0, "speed", 10.0),
        ("km·h⁻¹", 36.0, "speed", 10.0),
        ("m s-1", 10.0, "speed", 10.0),
        ("m/s²", 2.0, "acceleration", 2.0),
        ("m/s^2", 2.0, "acceleration", 2.0),
        ("m/s**2", 2.0, "acceleration", 2.0),
        ("G", 1.0, "acceleration", 9.80665),
        ("C", 20.0, "temperature", 293.15),
        ("°C", 20.0, "temperature", 293.15),
        ("℃", 20.0, "temperature", 293.15),
        ("degF", 212.0, "temperature", 373.15),
        ("%", 50.0, "fraction", 0.5),
        ("-", 0.5, "fraction", 0.5),
        ("", 0.5, "fraction", 0.5),
        ("Nm", 3.0, "torque", 3.0),
        ("N·m", 3.0, "torque", 3.0),
        ("U/min", 60.0, "rotation", 2 * np.pi),
        ("1/min", 60.0, "rotation", 2 * np.pi),
        ("min⁻¹", 60.0, "rotation", 2 * np.pi),
        ("°/s", 180.0, "rotation", np.pi),
        ("hPa", 1013.25, "pressure", 101325.0),
        ("MPa", 2.0, "pressure", 2e6),
        ("µm", 3.0, "length", 3e-6),
        ("N/mm", 39.0, "force/length", 39_000.0),
        ("mm/V", 25.0, "length/voltage", 0.025),
        ("(m/s)/Hz", 2.0, "speed/frequency", 2.0),
        ("hectopascal", 1013.25, "pressure", 101325.0),
        ("kilometers per hour", 36.0, "speed", 10.0),
        ("degree_Celsius", 20.0, "temperature", 293.15),
    ],
)
def test_spellings(spelling, value, dimension, si):
    np.testing.assert_allclose(to_si(np.array([value]), spelling, dimension), si, rtol=1e-14)


@pytest.mark.parametrize(
    "spelling", ["flurlong", "km/", "xyz", "hh:mm:ss", "MPA", "n", "/", "km/h/", "?", "12", "V²"]
)
def test_unknown_units_are_never_guessed(spelling):
    assert not is_unit(spelling)
    with pytest.raises(UnknownUnitError):
        unit_of(spelling)


def test_another_kind_is_refused_in_a_sentence():
    with pytest.raises(UnitMismatchError, match="'V' is a unit of voltage, not of speed"):
        to_si(np.zeros(1), "V", "speed")


def test_every_spelling_is_in_the_table():
    assert set(EXACT.values()) == set(TABLE)
    assert all(unit_of(word) is TABLE[name] for word, name in EXACT.items())
    assert all(is_unit(word) for word in PLAIN)


def test_no_conversion_copies_nothing():
    values = np.arange(3.0)
    assert to_si(values, "m/s", "speed") is values


@pytest.mark.parametrize("spelling", ["g", "C", "Nm", "-"])
def test_a_bare_library_would_misread(spelling):
    """Why the table is ours: the general library takes these headers for something else, or nothing."""
    try:
        parsed = REGISTRY.parse_units(spelling)
    except (pint.errors.PintError, AssertionError, AttributeError, TypeError, ValueError):
        return
    si_unit = {"g": "m/s**2", "C": "kelvin", "Nm": "N*m", "-": "percent"}[spelling]
    assert not parsed.is_compatible_with(si_unit) or parsed == REGISTRY.dimensionless
