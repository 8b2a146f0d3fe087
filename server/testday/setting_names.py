"""Settings of a setup as people say them: of rear_flap_deg 22, the rear flap at 22°.

A team names its settings as it likes; a name may end in a unit of `quantities.UNITS`. A single letter is none, for
wing_c may be the third wing.
"""

from __future__ import annotations

import re

from server.testday.quantities import UNITS

NUMBER = re.compile(r"[-+−]?\d+([.,]\d+)?(e[-+]?\d+)?")


def spoken(name: str) -> str:
    """The name without its unit: rear_flap_deg → rear flap."""
    key = _unit_key(name)
    return (name.removesuffix(f"_{key}") if key else name).replace("_", " ")


def with_unit(name: str, text: str) -> str:
    """A value of that setting with the unit of its name, where it is a number: 22 → 22°."""
    unit = UNITS[_unit_key(name)].shown
    if not unit or not NUMBER.fullmatch(text):
        return text
    return f"{text}{unit}" if unit == "°" else f"{text} {unit}"


def as_said(name: str, text: str) -> str:
    """Both: rear flap 22°."""
    return f"{spoken(name)} {with_unit(name, text)}"


def axis_name(name: str) -> str:
    """What stands at an axis: rear flap [°]."""
    unit = UNITS[_unit_key(name)].shown
    return f"{spoken(name)} [{unit}]" if unit else spoken(name)


def _unit_key(name: str) -> str:
    stem, _, ending = name.rpartition("_")
    return ending if stem and len(ending) > 1 and ending in UNITS else ""
