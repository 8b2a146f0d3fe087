"""Which days and setups of a season are compared: what the address asks for, what the season has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.analysis.compared_days import ResultOfDay
from server.days.season import SeasonDay, SetupKey
from server.days.season_choice import Season
from server.days.season_view import Letters
from server.figures.theme import SetupMark

FIRST = "SCx"


@dataclass(frozen=True, slots=True)
class Choice:
    """What the address asks for; what the season does not have gives way to what it has."""

    quantity: str
    baseline: str
    setups: Sequence[str]
    days: Sequence[str]


@dataclass(frozen=True, slots=True)
class SetupOverDays:
    """A setup as it was recorded alike on some days: how it is called over them, its mark, what was recorded."""

    words: str
    name: str
    mark: SetupMark
    recorded: str
    days: int
    chosen: bool


@dataclass(frozen=True, slots=True)
class DayChoice:
    """A day that measured any setup of the car."""

    id: int
    words: str
    setups: tuple[str, ...]
    chosen: bool


@dataclass(frozen=True, slots=True)
class Chosen:
    """What is compared. setups, days: all of the car's, with what is chosen; called: setup → its words."""

    car: str
    quantity: str
    baseline: str
    setups: tuple[SetupOverDays, ...]
    days: tuple[DayChoice, ...]
    called: Mapping[SetupKey, str]
    scope: Mapping[str, str]

    @property
    def marks(self) -> dict[str, SetupMark]:
        """By the words of each setup."""
        return {one.words: one.mark for one in self.setups}

    def query(self, **other: str) -> str:
        """The address's choices, some of them others."""
        single = dict(self.scope) | {"quantity": self.quantity, "baseline": self.baseline} | other
        setups = [("setup", one.words) for one in self.setups if one.chosen]
        days = [("day", str(one.id)) for one in self.days if one.chosen]
        return urlencode([*single.items(), *setups, *days])


def car_of(season: Season) -> str | None:
    """The car whose days are compared: the one that was chosen, else that of the newest day that measured."""
    if season.scope.car is not None:
        return season.scope.car
    newest = max((day for day in season.days if day.measured), key=lambda one: (one.day, one.id), default=None)
    return newest.measured[0].key.car if newest else None


def choose_compared(season: Season, car: str, asked: Choice) -> Chosen:
    """What is compared of a car's days."""
    days = sorted((day for day in season.days if _of(day, car)), key=lambda one: (one.day, one.id), reverse=True)
    called = {key: _words(key, season.letters) for day in days for key in _of(day, car)}
    counts = {key: sum(key in _of(day, car) for day in days) for key in called}
    words = list(called.values())
    wanted_days = {one for one in asked.days if one in {str(day.id) for day in days}}
    wanted_setups = {one for one in asked.setups if one in words}
    baseline = asked.baseline if asked.baseline in words else _usual_baseline(counts, called)
    first = wanted_setups or _beside(baseline, [[called[key] for key in _of(day, car)] for day in days]) or set(words)
    setups = tuple(
        SetupOverDays(
            called[key], key.name, season.letters.of(key).mark, key.recorded, counts[key],
            chosen=called[key] == baseline or called[key] in first,
        )
        for key in called
    )  # fmt: skip
    choices = tuple(
        DayChoice(
            day.id, f"{day.date}, {day.name}", tuple(called[key] for key in _of(day, car)),
            chosen=not wanted_days or str(day.id) in wanted_days,
        )
        for day in days
    )  # fmt: skip
    scope = dict(season.scope.asked) | {"car": car}
    return Chosen(car, asked.quantity or FIRST, baseline, setups, choices, called, scope)


def chosen_results(chosen: Chosen, days: Sequence[tuple[SeasonDay, ResultOfDay]]) -> list[ResultOfDay]:
    """The chosen days with the chosen setups' names."""
    wanted = {one.words for one in chosen.setups if one.chosen}
    found = []
    for day, tested in days:
        names = {
            chosen.called[one.key]: one.key.name
            for one in day.measured
            if one.key in chosen.called and chosen.called[one.key] in wanted
        }
        if names:
            found.append(ResultOfDay(tested.key, tested.words, tested.result, names))
    return found


def _of(day: SeasonDay, car: str) -> list[SetupKey]:
    return [one.key for one in day.measured if one.key.car == car and one.estimates]


def _words(key: SetupKey, letters: Letters) -> str:
    """A setup's name, with the number of its form where the name had several."""
    number = letters.forms.get(key, 1)
    return key.name if number == 1 else f"{key.name}·{number}"


def _beside(baseline: str, days: Sequence[Sequence[str]]) -> set[str]:
    """Setups that some day ran beside the baseline: what was never is told badly, and makes all others wider."""
    return {name for names in days if baseline in names for name in names} - {baseline}


def _usual_baseline(counts: Mapping[SetupKey, int], called: Mapping[SetupKey, str]) -> str:
    """The setup of most days; of several the first by name."""
    most = min(counts, key=lambda key: (-counts[key], called[key]), default=None)
    return called[most] if most else ""
