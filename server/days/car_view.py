"""What exactly was run, as rows of a page: the car, its tables, its sensors, the weather, the setups."""

from __future__ import annotations

from dataclasses import dataclass

from server.days.calibration_forms import calibration_text
from server.days.car_forms import DRIVEN
from server.days.car_properties import AXLES, PLACES, Place
from server.days.changes import runs_of
from server.days.day_forms import day_text, venue_text
from server.days.form_fields import text_of
from server.days.setup_words import differences
from server.days.table_forms import RATE_U, TABLES, axle_of, rate_u_text, rows_text
from server.days.weather_forms import READINGS, time_text
from server.testday.values import Car, Day, Quantity, WeatherReading

SOURCE_WORDS = {
    "measured": "measured",
    "typed": "typed in",
    "predicted": "from a prediction",
    "default": "a default",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that can be changed. how: how to measure what nobody gave; lines: what a table holds."""

    slug: str
    words: str
    value: str
    source: str = ""
    how: str = ""
    lines: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """Rows under a heading."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class WeatherRow:
    """One reading; cells stand in the order of the columns."""

    slug: str
    time: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetupRow:
    """A setup, what differs from its baseline, and the runs that were driven in it."""

    slug: str
    name: str
    baseline: str
    lines: tuple[str, ...]
    runs: tuple[int, ...]
    notes: str


@dataclass(frozen=True, slots=True)
class CarView:
    """Everything that the page of a car and its setups shows. defaults of all properties that have a value."""

    car: str
    mass: str
    groups: tuple[Group, ...]
    day: tuple[Row, ...]
    weather: tuple[WeatherRow, ...]
    setups: tuple[SetupRow, ...]
    defaults: int
    properties: int


WEATHER_COLUMNS = (*((one.words, one.key.unit) for one in READINGS), ("Gust", "mps"))


def car_view(day: Day) -> CarView:
    """Lay the car and the setups of a day out."""
    car = day.car
    given = [place.of(car) for place in PLACES]
    return CarView(
        car=car.name,
        mass=text_of(car.mass_kg, "kg"),
        groups=_groups(car),
        day=(Row("day", "Day", day_text(day), how=day.notes), Row("venue", "Venue", venue_text(day))),
        weather=tuple(_weather_row(number, one) for number, one in enumerate(day.weather, 1)),
        setups=_setup_rows(day),
        defaults=sum(one is not None and one.source == "default" for one in given),
        properties=sum(one is not None for one in given),
    )


def _groups(car: Car) -> tuple[Group, ...]:
    whole = [_row(car, place) for place in PLACES if place.axle is None]
    corners = "not given"
    if car.corner_mass_kg is not None:
        corners = ", ".join(f"{mass:g}" for mass in car.corner_mass_kg) + " kg (fl, fr, rl, rr)"
    whole.insert(1, Row("corners", "Masses on the four wheels", corners))
    whole += [
        Row("driven", "The motor drives", DRIVEN[car.driven]),
        Row("name", "Name of the car", car.name or "no name"),
    ]
    sensors = [Row(f"calibration.{role}", role.replace("_", " "), calibration_text(one), lines=_pairs(one.table))
               for role, one in sorted(car.calibration.items())]  # fmt: skip
    axles = [Group(f"{axle.capitalize()} axle", _axle_rows(car, axle)) for axle in AXLES]
    return (Group("The whole car", tuple(whole)), *axles, Group("Calibrations", tuple(sensors)))


def _axle_rows(car: Car, axle: str) -> tuple[Row, ...]:
    owner = axle_of(car, axle)
    rows = [_row(car, place) for place in PLACES if place.axle == axle]
    rows.append(Row(f"{axle}.{RATE_U}", "Uncertainty of the wheel rate", rate_u_text(owner)))
    for name, (words, (first, _), (second, _)) in TABLES.items():
        table = getattr(owner, name)
        lines = tuple((text_of(Quantity(a), first.unit), text_of(Quantity(b), second.unit)) for a, b in table)
        rows.append(Row(f"{axle}.{name}", words[:1].upper() + words[1:], rows_text(table), lines=lines))
    return tuple(rows)


def _row(car: Car, place: Place) -> Row:
    given = place.of(car)
    if given is None:
        return Row(place.slug, place.property.words, "not given", how=place.property.how)
    how = place.property.how if given.source == "default" else ""
    return Row(place.slug, place.property.words, text_of(given, place.property.unit), SOURCE_WORDS[given.source], how)


def _pairs(table: tuple[tuple[float, float], ...]) -> tuple[tuple[str, str], ...]:
    return tuple((f"{a:g}", f"{b:g}") for a, b in table)


def _weather_row(number: int, reading: WeatherReading) -> WeatherRow:
    cells = [text_of(given, one.key.unit) if (given := getattr(reading, one.field)) else "" for one in READINGS]
    gust = "" if reading.gust_mps is None else f"{reading.gust_mps:g} m/s"
    return WeatherRow(f"weather.{number}", time_text(reading), (*cells, gust))


def _setup_rows(day: Day) -> tuple[SetupRow, ...]:
    return tuple(
        SetupRow(
            f"setup.{number}",
            setup.name,
            setup.baseline or "",
            differences(day, setup),
            tuple(runs_of(day, setup.name)),
            setup.notes,
        )
        for number, setup in enumerate(day.setups, 1)
    )
