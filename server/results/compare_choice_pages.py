"""What the page that compares the setups of a day is asked for, and the day's result that answers it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Depends, Query

from server.analysis.compared import (
    LEAST_SETTINGS,
    Compared,
    Surface,
    Varied,
    pairs_varied,
    quantities_compared,
    settings_of,
    varied_settings,
)
from server.analysis.result import DayResult
from server.days.day_shelf import stored_day
from server.days.service import find_day, revision_files
from server.dependencies import Results, TheArchive
from server.figures.theme import SetupMark, setup_marks
from server.testday.values import Day

Asked = Annotated[str, Query(max_length=120)]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A day's newest result and the day it was made of; what is compared, and over which setting."""

    day_id: int
    day: Day
    result: DayResult
    marks: dict[str, SetupMark]
    quantity: str
    baseline: str
    over: str
    both: str

    def compared(self) -> Compared:
        """All differences. Raises StillairError where there are none."""
        from server.analysis.compare import compare

        return compare(self.result, self.quantity, self.baseline)

    @property
    def settings(self) -> dict[str, dict[str, float]]:
        """Settings that can be looked over."""
        joint = self.result.joint.get(self.quantity)
        parts = {setup.name: settings_of(setup) for setup in self.day.setups}
        return varied_settings(parts, joint.setups) if joint else {}

    @property
    def varied_enough(self) -> tuple[str, ...]:
        """Those with enough different values for a curve."""
        return tuple(name for name, at in self.settings.items() if len(set(at.values())) >= LEAST_SETTINGS)

    def varied(self) -> Varied | None:
        """The quantity over the chosen setting; None where none was varied enough."""
        if self.over not in self.varied_enough:
            return None
        from server.analysis.compare import response_over

        return response_over(self.result, self.quantity, self.over, self.settings[self.over])

    @property
    def pairs(self) -> dict[str, tuple[str, str]]:
        """Pairs of settings that a surface can be laid over, by their words."""
        return {f"{one} and {two}": (one, two) for one, two in pairs_varied(self.settings)}

    def surface(self) -> Surface | None:
        """The quantity over the chosen pair of settings; None where no two were varied enough."""
        pair = self.pairs.get(self.both)
        if pair is None:
            return None
        from server.analysis.compare import surface_over

        first, second = (self.settings[name] for name in pair)
        return surface_over(self.result, self.quantity, pair, {name: (first[name], second[name]) for name in first})

    def query(self, **other: str) -> str:
        """The address's choices, some of them others."""
        chosen = {"quantity": self.quantity, "baseline": self.baseline, "over": self.over, "both": self.both}
        return urlencode(chosen | other)


@dataclass(frozen=True, slots=True)
class Choice:
    """What the address asks for; whatever the day does not have gives way to its first."""

    quantity: Asked = ""
    baseline: Asked = ""
    over: Asked = ""
    both: Asked = ""


def _loaded(day_id: int, archive: TheArchive, results: Results, asked: Annotated[Choice, Depends()]) -> Loaded:
    with archive.database.reading() as session:
        find_day(session, day_id)
        row, result = results.of_day(session, day_id)
        day = stored_day(archive, revision_files(session, row.revision_id))
    told = quantities_compared(result)
    quantity = asked.quantity if asked.quantity in told else told[0] if told else ""
    names = result.joint[quantity].setups if quantity else ()
    baseline = asked.baseline if asked.baseline in names else next(iter(_stated(result, names)), "")
    marks = setup_marks([one.name for one in result.setups])
    loaded = Loaded(day_id, day, result, marks, quantity, baseline, asked.over, asked.both)
    enough, pairs = loaded.varied_enough, loaded.pairs
    over = asked.over if asked.over in enough else next(iter(enough), "")
    return replace(loaded, over=over, both=asked.both if asked.both in pairs else next(iter(pairs), ""))


def _stated(result: DayResult, names: tuple[str, ...]) -> list[str]:
    """The baseline that most setups name, first."""
    named = [one.baseline for one in result.comparisons if one.baseline in names]
    return [*sorted(set(named), key=lambda name: -named.count(name)), *names]


Of = Annotated[Loaded, Depends(_loaded)]
