"""What a setup is in words: what differs from its baseline, part by part."""

from __future__ import annotations

from collections.abc import Callable

from server.days.form_fields import text_of
from server.testday.quantities import from_si
from server.testday.setting_names import spoken, with_unit
from server.testday.values import Day, Setup

Part = str | float | bool

ENDS = ("front", "rear")


def differences(day: Day, setup: Setup) -> tuple[str, ...]:
    """What differs from the baseline, a short line each; of a baseline itself, what it is."""
    base = next((one_ for one_ in day.setups if one_.name == setup.baseline), None)
    lines = []
    for words, value, was in _facts(setup, base):
        if base is None:
            lines += [f"{words} {value}"] if value else []
        elif value != was:
            lines.append(f"{words} {was or 'not said'} → {value or 'not said'}")
    return tuple(lines)


def part_text(part: Part | None) -> str:
    """A part as it is typed."""
    if isinstance(part, bool):
        return "yes" if part else "no"
    return f"{part:.12g}" if isinstance(part, float) else "" if part is None else part


def differences_text(day: Day, setup: Setup) -> str:
    """All of it in one line."""
    lines = differences(day, setup)
    lead = f"against {setup.baseline}: " if setup.baseline else ""
    return lead + ("; ".join(lines) if lines else "nothing said")


def _facts(setup: Setup, base: Setup | None) -> list[tuple[str, str, str]]:
    """Words, this setup's value, the baseline's."""
    facts = [("front ride height", *_pair(setup, base, _height("front"))),
             ("rear ride height", *_pair(setup, base, _height("rear")))]  # fmt: skip
    names = sorted({*setup.parts, *(base.parts if base else {})})
    facts += [(spoken(name), *_pair(setup, base, _setting(name))) for name in names]
    facts.append(("ballast", *_pair(setup, base, _ballast)))
    return facts + [(f"SCz {end}", *_pair(setup, base, _area(end))) for end in ENDS]


def _pair(setup: Setup, base: Setup | None, text: Callable[[Setup], str]) -> tuple[str, str]:
    return text(setup), text(base) if base else ""


def _setting(name: str) -> Callable[[Setup], str]:
    return lambda setup: with_unit(name, part_text(setup.parts.get(name)))


def _ballast(setup: Setup) -> str:
    return "" if setup.ballast_kg is None else text_of(setup.ballast_kg, "kg")


def _height(end: str) -> Callable[[Setup], str]:
    def text(setup: Setup) -> str:
        height = getattr(setup, f"{end}_ride_height_m")
        return "" if height is None else f"{float(from_si(height, 'mm')):g} mm"

    return text


def _area(end: str) -> Callable[[Setup], str]:
    def text(setup: Setup) -> str:
        area = getattr(setup, f"scz_{end}_m2")
        return "" if area is None else f"{text_of(area, 'm2')} ({area.source})"

    return text
