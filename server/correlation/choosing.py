"""What an address of the page asks for, and the addresses of its other choices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from pydantic import Field

from server.correlation.service import Asked, CarCorrelation

Text = Annotated[str, Field(max_length=200)]
ALL = "all"
MOST_DAYS = 400


@dataclass(frozen=True, slots=True)
class Option:
    """Something that the page can be drawn of: its words, its address, whether it is shown."""

    words: str
    href: str
    shown: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """The choices as they stand in an address.

    days: numbers with commas, or 'all'; predictions: number of a set; of: the quantity that is drawn; shown: the setup
    whose ride heights are.
    """

    car: Text = ""
    days: Annotated[str, Field(max_length=4000)] = ""
    predictions: Text = ""
    baseline: Text = ""
    of: Text = ""
    shown: Text = ""

    @property
    def asked(self) -> Asked:
        """What is to be held against each other; whatever is no number is left out."""
        days = tuple(int(one) for one in self.days.split(",")[:MOST_DAYS] if one.isdecimal() and len(one) < 10)
        chosen = int(self.predictions) if self.predictions.isdecimal() and len(self.predictions) < 10 else None
        return Asked(self.car, days, self.days == ALL, chosen, self.baseline)

    def query(self, **other: str) -> dict[str, str]:
        """The choices as parts of an address, some of them others; without those that say nothing."""
        kept = {name: getattr(self, name) for name in ("car", "days", "predictions", "baseline", "of", "shown")}
        return {name: value for name, value in (kept | other).items() if value}


def link(there: str, query: Mapping[str, str]) -> str:
    """An address with its query."""
    return f"{there}?{urlencode(query)}" if query else there


def car_options(there: str, car: CarCorrelation) -> tuple[Option, ...]:
    """Which car."""
    return tuple(
        Option(name or "car without a name", link(there, {"car": name}), name == car.asked.car) for name in car.cars
    )


def day_options(there: str, choice: Choice, car: CarCorrelation) -> tuple[Option, ...]:
    """Which days: the best known of each setup, all of them, or one."""
    plain = not car.asked.days and not car.asked.every_day
    first = Option("the best known of each setup", link(there, choice.query(days="")), plain)
    every = Option("all days", link(there, choice.query(days=ALL)), car.asked.every_day)
    single = tuple(
        Option(f"{one.name}, {one.date}", link(there, choice.query(days=str(one.id))), car.asked.days == (one.id,))
        for one in car.options
    )
    return (first, every, *single) if len(car.options) > 1 else ()


def set_options(there: str, choice: Choice, car: CarCorrelation) -> tuple[Option, ...]:
    """Which predictions: the newest of each setup, or one set."""
    if len(car.sets) < 2:
        return ()
    first = Option("the newest of each setup", link(there, choice.query(predictions="")), car.asked.set_id is None)
    return (first, *(
        Option(
            f"{one.name}{', ' + one.recipe if one.recipe else ''}",
            link(there, choice.query(predictions=str(one.set_id))),
            one.set_id == car.asked.set_id,
        )
        for one in car.sets
    ))  # fmt: skip
