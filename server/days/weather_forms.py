"""Forms about the readings of air and wind: one is added, changed or taken away."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import get_args

from server.days.changes import Change, change_weather
from server.days.form_fields import (
    Field,
    FieldError,
    Form,
    Typed,
    number_field,
    one,
    quantity_field,
    text_of,
    typed_number,
    typed_quantity,
)
from server.errors import NotFoundError
from server.testday import folder_keys as keys
from server.testday.defaults import MISSING
from server.testday.folder_keys import Key
from server.testday.quantities import clock_from_s, clock_to_s
from server.testday.values import Day, Quantity, Surface, WeatherReading


@dataclass(frozen=True, slots=True)
class Reading:
    """One quantity of a reading: field of the form and of `WeatherReading`, bounds, unit on screen."""

    name: str
    field: str
    words: str
    key: Key
    hint: str = ""


READINGS = (
    Reading("pressure", "pressure_pa", "Station pressure", keys.PRESSURE, "As a barometer at the track reads it."),
    Reading("temperature", "temperature_k", "Air temperature", keys.TEMPERATURE),
    Reading("humidity", "humidity", "Relative humidity", keys.HUMIDITY, "Empty: a wide default."),
    Reading("wind", "wind_speed_mps", "Wind", keys.WIND_SPEED),
    Reading("from", "wind_from_rad", "Wind from", keys.WIND_FROM, "True direction that it comes from."),
)
NEEDED = {"pressure", "temperature"}
SURFACES: tuple[Surface, ...] = get_args(Surface)
SURFACE_OPTIONS = (("", "not said"), *((word, word) for word in SURFACES))
FIRST_FIELD = Field(
    "first", "Time of the reading that is there", "text", hint="It holds all day; beside another it needs its time."
)


def form(day: Day, slug: str) -> Form:
    """The form of `weather.3`, the third reading, or of `weather`, a new one. Raises NotFoundError."""
    place = place_of(day, slug)
    there = None if place is None else day.weather[place]
    clock = "" if there is None or there.clock_s is None else clock_from_s(there.clock_s)
    fields = (
        Field("time", "Time", "text", clock, hint="Such as 09:30. Empty: all day, where there is one reading."),
        *((FIRST_FIELD,) if there is None and _all_day(day) else ()),
        *(
            quantity_field(one_.name, one_.words, one_.key, there and getattr(there, one_.field), hint=one_.hint)
            for one_ in READINGS
        ),
        number_field("gust", "Strongest gust", keys.GUST, there and there.gust_mps),
        Field("surface", "Straight", "choice", (there and there.surface) or "", options=SURFACE_OPTIONS),
    )
    title = "A new reading" if there is None else f"Reading at {clock or 'all day'}"
    clears = "Take this reading away" if there is not None and len(day.weather) > 1 else ""
    return Form(slug, title, reading_text(there) if there else f"{len(day.weather)} readings", fields, clears)


def change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError, NotFoundError."""
    place = place_of(day, slug)
    before = None if place is None else day.weather[place]
    others = tuple(one_ for number, one_ in enumerate(day.weather) if number != place)
    if before is not None and one(typed, "do") == "clear":
        if not others:
            raise FieldError("time", "A day needs at least one reading of pressure and temperature.")
        return _told(change_weather(day, others), "taken away", before)
    reading = _reading(typed, before)
    if before is None and _all_day(day) and one(typed, "first"):
        others = (replace(others[0], clock_s=_clock(one(typed, "first"), "first")),)
    if others and reading.clock_s is None:
        raise FieldError("time", "Where there are several readings each needs its time.")
    if any(other.clock_s is None for other in others):
        raise FieldError("time", "The reading that is there holds all day; give that one a time first.")
    if any(other.clock_s == reading.clock_s for other in others):
        raise FieldError("time", "Another reading has that time; change that one.")
    return _told(change_weather(day, (*others, reading)), "changed" if before else "added", reading)


def _all_day(day: Day) -> bool:
    """Whether the one reading that is there has no time."""
    return len(day.weather) == 1 and day.weather[0].clock_s is None


def place_of(day: Day, slug: str) -> int | None:
    """Which reading a slug names, counted from 0; None for a new one. Raises NotFoundError."""
    number = slug.partition(".")[2]
    if not number:
        return None
    if not number.isascii() or not number.isdigit() or not 1 <= int(number) <= len(day.weather):
        raise NotFoundError(f"This day has no weather reading {number[:20]}.")
    return int(number) - 1


def reading_text(reading: WeatherReading) -> str:
    """A reading in one line."""
    told = [(given, one_.key.unit) for one_ in READINGS if (given := getattr(reading, one_.field)) is not None]
    line = ", ".join(text_of(given, unit) for given, unit in told)
    return f"{line}, {reading.surface}" if reading.surface else line


def time_text(reading: WeatherReading) -> str:
    """Its clock time, without seconds where they say nothing."""
    return "all day" if reading.clock_s is None else clock_from_s(reading.clock_s).removesuffix(":00")


def _reading(typed: Typed, before: WeatherReading | None) -> WeatherReading:
    values = {one_.field: _quantity(typed, one_, before) for one_ in READINGS}
    return WeatherReading(
        clock_s=_clock(one(typed, "time")),
        gust_mps=typed_number(typed, "gust", "The strongest gust", keys.GUST),
        surface=next((word for word in SURFACES if word == one(typed, "surface")), None),
        **(values | {"humidity": values["humidity"] or MISSING["humidity"]}),  # type: ignore[arg-type]
    )


def _quantity(typed: Typed, one_: Reading, before: WeatherReading | None) -> Quantity | None:
    there = None if before is None else getattr(before, one_.field)
    value = typed_quantity(typed, one_.name, one_.words, one_.key, before=there)
    if value is None and one_.name in NEEDED:
        raise FieldError(one_.name, f"{one_.words} is missing; without it there is no air density.")
    return value


def _clock(text: str, field: str = "time") -> float | None:
    if not text:
        return None
    clock = clock_to_s(text)
    if clock is None:
        raise FieldError(field, f"A time is written such as 09:30, not “{text[:20]}”.")
    return clock


def _told(made: Change, word: str, reading: WeatherReading) -> Change:
    return replace(made, what=f"weather reading {time_text(reading)} {word}: {reading_text(reading)}")
