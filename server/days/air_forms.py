"""The air read again in two taps: where the wind comes from, how strong; everything else as last read."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from server.days import weather_forms
from server.days.change import Change
from server.days.clock_now import clock_if_today
from server.days.form_fields import Field, Form, Typed, one, short_text
from server.testday.quantities import clock_from_s, from_si
from server.testday.values import Day

SLUG = "air"
NAMES = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
POINTS = tuple((str(45 * place), name) for place, name in enumerate(NAMES))
SPEEDS = ("0", "0.5", "1", "1.5", "2", "3", "4", "5", "6", "8")
SURFACES = (("dry", "dry"), ("damp", "damp"), ("wet", "wet"))
AS_LAST = "It is filled in as last read: tap what has moved, then send."
FROM_HINT = "Where the wind comes from, true."
TIME_HINT = "Such as 09:30. Empty: when it is sent, on the day itself."


def form(day: Day, slug: str) -> Form:
    """A new reading with the last one's values in it."""
    last = {field.name: field for field in weather_forms.form(day, f"weather.{len(day.weather)}").fields}
    first = () if day.weather[-1].clock_s is not None else (_first(day),)
    surface = day.weather[-1].surface or "dry"
    fields = (
        Field("from", "Wind from", "taps", last["from"].value, hint=FROM_HINT, options=_points(last["from"].value)),
        Field("wind", "Wind", "taps", last["wind"].value, "m/s", options=_speeds(last["wind"].value)),
        Field("surface", "Straight", "taps", surface, options=SURFACES),
        Field("temperature", "Air temperature", "number", last["temperature"].value, last["temperature"].unit),
        Field("pressure", "Station pressure", "number", last["pressure"].value, last["pressure"].unit),
        Field("gust", "Strongest gust", "number", "", "m/s", hint="Of the last minutes; empty: not read."),
        Field("time", "Time", "text", hint=TIME_HINT),
        *first,
    )
    return Form(slug, "The air now", weather_forms.reading_text(day.weather[-1]), fields, help=AS_LAST, send="Send")


def change(day: Day, _slug: str, typed: Typed) -> Change:
    """The reading that the taps say, with humidity and every uncertainty of the last one. Raises FieldError."""
    last = [f for f in weather_forms.form(day, f"weather.{len(day.weather)}").fields if f.kind == "quantity"]
    there = {field.name: field for field in last}
    kept: dict[str, tuple[str, ...]] = {"humidity": (there["humidity"].value,)}
    for name, field in there.items():
        if one({**kept, **typed}, name):
            kept |= {f"{name}_u": (field.u,), f"{name}_source": (field.source,)}
    now = clock_if_today(day)
    if not one(typed, "time") and now is not None:
        kept["time"] = (clock_from_s(now),)
    return weather_forms.change(day, "weather", {**typed, **kept})


def _first(day: Day) -> Field:
    starts = [run.start_clock_s for run in day.runs if run.start_clock_s is not None]
    field: Field = weather_forms.FIRST_FIELD
    return Field(field.name, field.label, "text", clock_from_s(min(starts)) if starts else "", hint=field.hint)


def _points(last: str) -> tuple[tuple[str, str], ...]:
    """Eight directions; the last reading's first where it lies between them."""
    known: Mapping[str, str] = dict(POINTS)
    own = () if not last or last in known else ((last, f"{last}° as last read"),)
    return (*own, *POINTS)


def _speeds(last: str) -> tuple[tuple[str, str], ...]:
    """Steps of wind speed, the last reading's own among them, in order."""
    all_ = sorted({*SPEEDS, *([last] if last else [])}, key=Decimal)
    return tuple((speed, speed) for speed in all_)


def point_text(from_rad: float) -> str:
    """The nearest of the eight directions."""
    degrees = float(from_si(from_rad, "deg"))
    return POINTS[round(degrees / 45.0) % 8][1]


def degrees_text(from_rad: float) -> str:
    """A direction in degrees."""
    return f"{short_text(from_si(from_rad, 'deg'))}°"
