"""What has been tested: days of a season with what each measured, from summaries and facts alone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.days.facts import Brief, SetupFacts
from server.days.setup_words import part_text
from server.days.tables import StoredDay
from server.testday.setting_names import as_said

GRADES = ("stop", "check")


@dataclass(frozen=True, slots=True)
class SetupKey:
    """What makes two days' setups one: car, name, heights [mm], parts as recorded, reference speed [m/s]."""

    car: str
    name: str
    heights: tuple[float | None, float | None]
    parts: tuple[tuple[str, str], ...]
    speed_mps: float

    @property
    def recorded(self) -> str:
        """What was recorded of it, in words."""
        heights = [f"{end} ride height {mm:g} mm" for end, mm in zip(("front", "rear"), self.heights, strict=True)
                   if mm is not None]  # fmt: skip
        words = [*heights, *(as_said(name, value) for name, value in self.parts)]
        return ", ".join(words) if words else "nothing recorded of its parts"


@dataclass(frozen=True, slots=True)
class Measured:
    """A setup on a day: values by quantity as the summary has them, what of their u days share, passes used."""

    key: SetupKey
    passes: int
    estimates: Mapping[str, Mapping[str, Any]]
    shared_u: Mapping[str, float]
    why: str


@dataclass(frozen=True, slots=True)
class Asking:
    """A finding that asks for a person."""

    grade: str
    code: str
    run: int | None
    text: str


@dataclass(frozen=True, slots=True)
class NoResult:
    """Why the day as it stands has no result, and what to do; older: an earlier revision has one."""

    state: str
    reason: str
    todo: str
    older: bool


@dataclass(frozen=True, slots=True)
class SeasonDay:
    """A day. dated: whether its date was given, else it stands at the day it was added."""

    id: int
    name: str
    day: dt.date
    dated: bool
    car: str
    venue: str
    runs: int
    setups: tuple[str, ...]
    measured: tuple[Measured, ...]
    asking: tuple[Asking, ...]
    no_result: NoResult | None

    @property
    def date(self) -> str:
        """The date as it is written."""
        return self.day.isoformat() if self.dated else "no date"


def season_day(
    stored: StoredDay, brief: Brief, fitted: Brief, summary: Mapping[str, Any] | None, no_result: NoResult | None
) -> SeasonDay:
    """brief: of the day as it stands; fitted: of the revision that the summary's result was made of."""
    asking = (Asking(one["grade"], one["code"], one["run"], one["text"]) for one in (summary or {}).get("asking", ()))
    return SeasonDay(
        id=stored.id,
        name=stored.name,
        day=stored.date or stored.added_at.date(),
        dated=stored.date is not None,
        car=brief.car,
        venue=brief.venue,
        runs=brief.runs,
        setups=tuple(one.name for one in brief.setups),
        measured=tuple(_measured(fitted, summary or {})),
        asking=tuple(sorted(asking, key=lambda one: (GRADES.index(one.grade), one.run or 0))),
        no_result=no_result,
    )


def _measured(brief: Brief, summary: Mapping[str, Any]) -> Iterable[Measured]:
    recorded = {one.name: one for one in brief.setups}
    for one in summary.get("setups", ()):
        key = setup_key(brief, recorded.get(one["setup"]), one["setup"])
        yield Measured(key, one["passes"], one["estimates"], one.get("shared_u", {}), one.get("why", ""))


def setup_key(brief: Brief, setup: SetupFacts | None, name: str) -> SetupKey:
    """What a setup was on a day."""
    heights = setup.heights if setup else (None, None)
    parts = tuple(sorted((part, part_text(_number(value))) for part, value in setup.parts.items())) if setup else ()
    return SetupKey(brief.car, name, heights, parts, brief.reference_speed_mps)


def _number(value: str | float | bool) -> str | float | bool:
    """30 and 30.0 are one angle."""
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def season_years(days: Sequence[SeasonDay]) -> list[int]:
    """The seasons, the newest first: calendar years."""
    return sorted({one.day.year for one in days}, reverse=True)


def setup_names(days: Sequence[SeasonDay]) -> dict[str, list[str]]:
    """Car → names of its setups, in the order in which they first came: so letters stay from day to day."""
    names: dict[str, dict[str, None]] = {}
    for one in sorted(days, key=lambda day: (day.day, day.id)):
        names.setdefault(one.car, {}).update(dict.fromkeys(one.setups))
        for each in one.measured:  # of a car that has got another name since
            names.setdefault(each.key.car, {})[each.key.name] = None
    return {car: list(found) for car, found in names.items()}


def variants(days: Sequence[SeasonDay]) -> dict[SetupKey, int]:
    """Each setup that was measured → its number among those of the same name and car, from 1, the earliest first."""
    found: dict[SetupKey, int] = {}
    count: dict[tuple[str, str], int] = {}
    for one in sorted(days, key=lambda day: (day.day, day.id)):
        for each in one.measured:
            if each.key not in found:
                named = (each.key.car, each.key.name)
                count[named] = found[each.key] = count.get(named, 0) + 1
    return found
