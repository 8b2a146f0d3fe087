"""Which channel may play which role, from names and units, with a confidence."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from server.testday.role_rules import RULES
from server.testday.role_table import ROLES, Role
from server.testday.role_words import concepts
from server.testday.units import UnknownUnitError, bare_spelling, is_unit, unit_of
from server.testday.values import Channel, RawLog

LIKELY = 0.5
CLOSE = 0.05
_NO_UNIT_COST, _UNKNOWN_UNIT_COST, _STRAY_WORD_COST = 0.05, 0.1, 0.06
_STRAY_NUMBER_COST = 0.02
_OF_A_BOX = frozenset(
    {"latitude", "longitude", "vehicle_speed", "altitude", "heading", "accel_long", "accel_lat", "yaw_rate"}
)
_NEUTRAL = frozenset({"position", "gps"})


@dataclass(frozen=True, slots=True)
class Proposal:
    """A channel for a role. confidence: 0 to 1, from the names' words and the unit. why: in a few words.

    unit: the spelling that counts, from the header or from the name's end; None where there is none.
    inferred: why a role was taken that the name does not say, as a sentence for a person; else empty.
    """

    role: str
    channel: Channel
    unit: str | None
    confidence: float
    why: str
    inferred: str = ""


_NAMES_UNIT = re.compile(r"(?:^|.*[^A-Za-z])([A-Za-z%][A-Za-z0-9%]*)$")
_SPLIT_UNIT = re.compile(
    r".*[_ ]((?:km|m|mi|ft|deg|rad|mm|n)[_ ](?:per[_ ])?(?:h|s|s2|v|mm))$", re.IGNORECASE
)
_SPELLED = (
    *(
        "kmh",
        "kph",
        "kmph",
        "mps",
        "mph",
        "kts",
        "rpm",
        "deg",
        "rad",
        "mrad",
        "dps",
        "bar",
        "mbar",
        "kpa",
        "hpa",
    ),
    *(
        "pa",
        "psi",
        "mm",
        "cm",
        "m",
        "g",
        "mps2",
        "nm",
        "n",
        "pct",
        "percent",
        "degc",
        "celsius",
        "v",
        "mv",
        "s",
        "ms",
    ),
)
_UNIT_ENDS = frozenset(_SPELLED)


def propose(raw: RawLog) -> tuple[Proposal, ...]:
    """Propose channels for roles, the likeliest first; several may stand for one role."""
    found = [proposal for channel in raw.channels for proposal in _proposals(channel)]
    if _is_satellite_box(found):
        found = [_as_satellite_speed(proposal) for proposal in found]
    return tuple(sorted(found, key=lambda p: (-p.confidence, p.role)))


def best_proposals(proposals: Iterable[Proposal]) -> dict[str, list[Proposal]]:
    """Role → its likeliest channel, and behind it those that come too close to tell.

    A channel plays one role only, the one it fits best; copies of the same samples count once.
    """
    taken: dict[str, str] = {}
    best: dict[str, list[Proposal]] = {}
    for proposal in proposals:
        if (
            proposal.confidence < LIKELY
            or taken.setdefault(proposal.channel.name, proposal.role) != proposal.role
        ):
            continue
        others = best.setdefault(proposal.role, [])
        close = not others or proposal.confidence >= others[0].confidence - CLOSE - 1e-9
        if close and not any(_same(proposal.channel, other.channel) for other in others):
            others.append(proposal)
    return best


def unit_at_end(name: str) -> str | None:
    """Return the unit that a name ends on: speed_kmh → kmh, wheel_rpm → rpm; None where there is none."""
    split = _SPLIT_UNIT.fullmatch(name)
    if split:
        return split[1].replace("_per_", "/").replace(" per ", "/").replace("_", "/").replace(" ", "/")
    match = _NAMES_UNIT.fullmatch(name)
    word = match[1] if match else ""
    word = "N" if word == "n" else word
    if word.casefold() in _UNIT_ENDS and is_unit(word) and word != name:
        return word
    camel = re.fullmatch(r".*[a-z](KMH|Kmh|KPH|Kph|MPH|Mph|RPM|Rpm|Deg|Bar|Mps)", name)
    return camel[1] if camel else None


@lru_cache(maxsize=4096)
def _matches(name: str) -> tuple[tuple[str, float, str], ...]:
    """(role, confidence, why) of a name alone."""
    words = concepts(name)
    own = frozenset(words)
    unit = unit_at_end(name)
    strays_of_unit = set(concepts(unit)) if unit else set()
    if "other" in own - strays_of_unit:
        return ()
    found = []
    for rule in RULES:
        if rule.words <= own and not rule.but & own:
            strays = [
                w for w in words if w not in rule.words and w not in _NEUTRAL and w not in strays_of_unit
            ]
            numbers = sum(word.isdigit() for word in strays)
            cost = _STRAY_WORD_COST * (len(strays) - numbers) + _STRAY_NUMBER_COST * numbers
            confidence = rule.confidence - cost
            found.append((rule.role, confidence, "its name says " + " ".join(sorted(rule.words))))
    return tuple(found)


def _proposals(channel: Channel) -> list[Proposal]:
    unit = channel.unit or unit_at_end(channel.name)
    found: dict[str, Proposal] = {}
    for role, confidence, why in _matches(channel.name):
        fits = _unit_fit(ROLES[role], unit)
        if fits is not None and (role not in found or confidence + fits > found[role].confidence):
            found[role] = Proposal(role, channel, unit, confidence + fits, why)
    if unit == "gear" and "gear" not in found:
        found["gear"] = Proposal("gear", channel, unit, 0.7, "it holds gear letters")
    return list(found.values())


def _is_satellite_box(found: list[Proposal]) -> bool:
    """Whether a log holds positions, no speed named as a satellite's, and nothing that only a car has."""
    roles = {proposal.role for proposal in found if proposal.confidence >= LIKELY}
    return {"latitude", "longitude", "vehicle_speed"} <= roles <= _OF_A_BOX


def _as_satellite_speed(proposal: Proposal) -> Proposal:
    if proposal.role != "vehicle_speed" or "vehicle" in concepts(proposal.channel.name):
        return proposal
    why = "positions stand beside it and nothing of the car"
    text = f"'{proposal.channel.name}' is taken for the satellite speed: {why}."
    return replace(proposal, role="gps_speed", inferred=text)


def _unit_fit(role: Role, unit: str | None) -> float | None:
    """What the unit adds to the confidence; None where it is of another kind."""
    if unit is None:
        return 0.0 if role.usual_unit else -_NO_UNIT_COST
    try:
        dimension = unit_of(unit).dimension
    except UnknownUnitError:
        return -_UNKNOWN_UNIT_COST
    if dimension in _dimensions(role):
        return 0.04 if bare_spelling(unit) != "1" else 0.0
    return None


def unit_fits(role: str, unit: str) -> bool:
    """Whether a channel for a role may carry a unit. Raises UnknownUnitError."""
    return unit_of(unit).dimension in _dimensions(ROLES[role])


def _dimensions(role: Role) -> tuple[str, ...]:
    """The kinds of unit that a channel for a role may carry; raw readings (V, counts) need a calibration."""
    raw = ("voltage", "count", "current")
    if role.name.startswith("wheel_speed"):
        return (role.dimension, "rotation", "frequency", *raw)
    if role.name == "gear":
        return ("gear", "fraction", "count")
    if role.name in ("latitude", "longitude"):
        return ("angle", "time")
    return (role.dimension, *(raw if role.name not in ("gps_speed", "vehicle_speed", "heading") else ()))


def _same(one: Channel, other: Channel) -> bool:
    return len(one.values) == len(other.values) and bool(
        np.array_equal(one.values, other.values) and np.array_equal(one.time_s, other.time_s)
    )
