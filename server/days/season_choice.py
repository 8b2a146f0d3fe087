"""Which days of the archive the season's page shows: a calendar year, a car; and the links that choose them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.days.season import SeasonDay, season_years
from server.days.season_view import Letters, letters_of
from server.errors import NotFoundError

ALL = "all"


@dataclass(frozen=True, slots=True)
class Choice:
    """A link that narrows the page down."""

    words: str
    href: str
    id: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Scope:
    """What the address chooses. year None: all seasons; car None: all cars."""

    year: int | None
    car: str | None
    asked: Mapping[str, str]

    @property
    def query(self) -> str:
        """The same choice, for another address."""
        return f"?{urlencode(self.asked)}" if self.asked else ""


@dataclass(frozen=True, slots=True)
class Season:
    """All days of the archive, and those that are chosen."""

    every: Sequence[SeasonDay]
    days: Sequence[SeasonDay]
    scope: Scope
    letters: Letters


def choose(every: Sequence[SeasonDay], year: str, car: str | None) -> Season:
    """The days of a year (the newest that has any, where none is named; “all”) and of a car."""
    years = season_years(every)
    chosen = season_year(year, years)
    asked = {name: value for name, value in (("year", year), ("car", car)) if value is not None and value != ""}
    days = [one for one in every if chosen in (None, one.day.year) and car in (None, one.car)]
    return Season(every, days, Scope(chosen, car, asked), letters_of(every))


def season_year(text: str, years: Sequence[int]) -> int | None:
    """The newest season where none is named. Raises NotFoundError for what is no year."""
    return named_year(text) if text else years[0] if years else None


def named_year(text: str) -> int | None:
    """A year as it was typed; None for all of them. Raises NotFoundError for what is no year."""
    if text in ("", ALL):
        return None
    if not (text.isascii() and text.isdigit() and len(text) == 4):
        raise NotFoundError("A season is a calendar year of four digits, or “all”.")
    return int(text)


def scope_words(scope: Scope) -> str:
    """Which days the sentence speaks of."""
    year = f" in {scope.year}" if scope.year is not None else " in all seasons"
    return f"{year} of {scope.car or 'the car without a name'}" if scope.car is not None else year


def years_of(there: str, chosen: Season) -> tuple[Choice, ...]:
    """Links to the other seasons; none where there is one."""
    years = season_years(chosen.every)
    if len(years) < 2 and chosen.scope.year in (None, *years):
        return ()
    links = [(str(year), str(year), year) for year in years] + [("all seasons", ALL, None)]
    return tuple(
        Choice(words, link(there, chosen, year=value), f"season-{value}", year == chosen.scope.year)
        for words, value, year in links
    )


def cars_of(there: str, chosen: Season) -> tuple[Choice, ...]:
    """Links to the cars; none where there is one."""
    cars = sorted({one.car for one in chosen.every})
    if len(cars) < 2 and chosen.scope.car is None:
        return ()
    every = Choice("all cars", link(there, chosen, car=None), "car-all", chosen.scope.car is None)
    links = (
        Choice(car or "no name", link(there, chosen, car=car), f"car-{number}", car == chosen.scope.car)
        for number, car in enumerate(cars)
    )
    return (every, *links)


def link(there: str, chosen: Season, **changed: str | None) -> str:
    """The address with one choice changed; None takes it away."""
    asked = {name: value for name, value in {**chosen.scope.asked, **changed}.items() if value is not None}
    return f"{there}{'?' if asked else ''}{urlencode(asked)}"
