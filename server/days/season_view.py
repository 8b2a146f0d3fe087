"""The season as a page shows it: what stands as rows, what is open, every point of the timeline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.days.release import setup_code
from server.days.season import SeasonDay, SetupKey, setup_names, variants
from server.days.season_standing import Stand, Standing, standings
from server.figures.season_points import ON_SCREEN, SeasonPoint
from server.figures.theme import SetupMark, setup_marks
from server.testday.rounding import rounded, with_uncertainty

QUANTITIES = tuple(ON_SCREEN)


@dataclass(frozen=True, slots=True)
class Letter:
    """How a setup is marked: letter and hue, and the letter with a number where its name had several forms."""

    mark: SetupMark
    label: str


@dataclass(frozen=True, slots=True)
class StandText:
    """A value as it stands on the page, and what hover, focus or a tap adds."""

    text: str
    detail: str
    source: str = "measured"


@dataclass(frozen=True, slots=True)
class StandRow:
    """A setup over its days; code: that of its address.

    cells stand in the order of the page's quantities, None where nothing measured it.
    """

    letter: Letter
    name: str
    recorded: str
    days: tuple[tuple[int, str, str], ...]
    cells: tuple[StandText | None, ...]
    advice: str
    code: str


@dataclass(frozen=True, slots=True)
class CarStands:
    """What stands of a car. differing: names under which different parts were recorded."""

    car: str
    quantities: tuple[str, ...]
    rows: tuple[StandRow, ...]
    differing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Letters:
    """Letters of all setups of all cars over all seasons."""

    names: Mapping[str, Mapping[str, SetupMark]]
    forms: Mapping[SetupKey, int]

    def of(self, key: SetupKey) -> Letter:
        """A setup's letter."""
        mark, number = self.names[key.car][key.name], self.forms.get(key, 1)
        return Letter(mark, mark.letter if number == 1 else f"{mark.letter}·{number}")


def letters_of(days: Sequence[SeasonDay]) -> Letters:
    """Letters given over all days of the archive, so that no filter changes them."""
    return Letters({car: setup_marks(names) for car, names in setup_names(days).items()}, variants(days))


def car_stands(days: Sequence[SeasonDay], letters: Letters) -> tuple[CarStands, ...]:
    """What stands, car by car, the one of the newest day first."""
    by_car: dict[str, list[Standing]] = {}
    for one in standings(days, QUANTITIES):
        by_car.setdefault(one.key.car, []).append(one)
    return tuple(_car(car, found, letters) for car, found in by_car.items())


def _car(car: str, found: Sequence[Standing], letters: Letters) -> CarStands:
    quantities = tuple(name for name in QUANTITIES if any(name in one.stands for one in found))
    names = [one.key.name for one in found]
    differing = tuple(name for name in dict.fromkeys(names) if names.count(name) > 1)
    rows = tuple(
        StandRow(
            letters.of(one.key),
            one.key.name,
            one.key.recorded,
            tuple((day.id, day.date, day.name) for day in one.days),
            tuple(stand_text(one.stands[name], name) if name in one.stands else None for name in quantities),
            advice(one),
            setup_code(one.key),
        )
        for one in found
    )
    return CarStands(car, tuple(f"{ON_SCREEN[name].words}" for name in quantities), rows, differing)


def stand_text(stand: Stand, quantity: str) -> StandText:
    """Value ± U95 unit; behind it what it is made of."""
    shown = ON_SCREEN[quantity]
    text = _signed(with_uncertainty(shown.factor * stand.value, shown.factor * stand.u95, shown.unit))
    if stand.over is None:
        return StandText(text, f"u {_size(stand.u, quantity)}; of one day: how far days differ is not in it")
    between = f"a day differs from the next by {_size(stand.over.between_sd, quantity)} (standard deviation)"
    if stand.over.between_sd == 0.0:
        between = "the days lie as close as their own errors let expect"
    if stand.over.borrowed:
        between = f"{between}, as all setups of the car together say, half as much again"
    shared = f"{_size(stand.over.shared_u, quantity)} of u is common to the days and falls with no further day"
    return StandText(text, f"u {_size(stand.u, quantity)}; {stand.days} days; {between}; {shared}")


def _size(number: float, quantity: str) -> str:
    shown = ON_SCREEN[quantity]
    scaled = shown.factor * number
    return f"{rounded(scaled, scaled)[0] if scaled > 0 else '0'} {shown.unit}"


def held(value: str) -> str:
    """A value that no line break parts from its interval and unit."""
    return value.replace(" ", "\N{NO-BREAK SPACE}")


def _signed(text: str) -> str:
    return text.replace("-", "−", 1) if text.startswith("-") else text


def advice(one: Standing) -> str:
    """What a further day would do for it."""
    name = next((each for each in QUANTITIES if each in one.stands), None)
    if name is None:
        return "no area can be had: open the day to see why"
    stand = one.stands[name]
    if stand.over is None:
        return "one day: run it on another to learn how far days differ"
    reach = held(f"± {_size(stand.with_another or 0.0, name)}")
    if stand.apart:
        return f"its days lie further apart than their errors explain: look what differed; a further day: {reach}"
    if stand.days == 2 and not stand.over.borrowed:
        return f"two days hardly tell how days differ; a third like these: {reach}"
    return f"a further day like these: {reach}"


def timeline_points(days: Sequence[SeasonDay], quantity: str, letters: Letters) -> tuple[SeasonPoint, ...]:
    """What the timeline draws, the earliest day first; only what was measured."""
    points = []
    for day in sorted(days, key=lambda one: (one.day, one.id)):
        for one in day.measured:
            value = one.estimates.get(quantity)
            if value is None or value["source"] != "measured":
                continue
            letter = letters.of(one.key)
            numbers = (value["value"], value["u"], value["low95"], value["high95"])
            point = SeasonPoint(
                one.key.car, day.day, day.name, one.key.name, letter.label, letter.mark, one.key.recorded, *numbers
            )
            points.append(point)
    return tuple(points)


def measured_quantities(days: Sequence[SeasonDay]) -> tuple[str, ...]:
    """What the timeline can be drawn of."""
    values = [one.estimates for day in days for one in day.measured]
    return tuple(name for name in QUANTITIES if any(each.get(name, {}).get("source") == "measured" for each in values))
