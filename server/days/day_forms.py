"""Forms about the day and its venue: name, date, time zone, reference speed, notes; heading, grade, altitude."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from dataclasses import replace

from server.days.changes import Change, change_day
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
from server.testday import folder_keys as keys
from server.testday.quantities import from_si
from server.testday.values import Day

LONGEST_NAME = 120
LONGEST_NOTES = 4000


def form(day: Day, slug: str) -> Form:
    """The form of `day`."""
    zone = "Such as Europe/Lisbon; of the clock times of this day. Empty: that of the computer."
    speed = number_field("speed", "Reference speed", keys.REFERENCE_SPEED, day.reference_speed_mps, unit="kmh")
    fields = (
        Field("name", "Name", "text", day.name),
        Field("date", "Date", "date", day.date.isoformat() if day.date else ""),
        Field("timezone", "Time zone", "text", day.timezone or "", hint=zone),
        replace(speed, hint="The areas are quoted at this speed."),
        Field("notes", "Notes", "lines", day.notes),
    )
    return Form(slug, "The day", day_text(day), fields)


def change(day: Day, _: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    name = one(typed, "name")[:LONGEST_NAME]
    if not name:
        raise FieldError("name", "A day needs a name to be found by.")
    speed = typed_number(typed, "speed", "The reference speed", keys.REFERENCE_SPEED, "kmh")
    if speed is None:
        raise FieldError("speed", "The areas need a speed to be quoted at, such as 79.2 km/h.")
    facts = {
        "name": name,
        "date": _date(one(typed, "date")),
        "timezone": _zone(one(typed, "timezone")),
        "reference_speed_mps": speed,
        "notes": one(typed, "notes")[:LONGEST_NOTES].replace("\r\n", "\n"),
    }
    return change_day(day, **{fact: value for fact, value in facts.items() if value != getattr(day, fact)})


def venue_form(day: Day, slug: str) -> Form:
    """The form of `venue`."""
    venue = day.venue
    out = "True heading of the straight travelling out. Empty: found from the logs' positions, where there are any."
    fields = (
        Field("name", "Name", "text", venue.name),
        number_field("heading", "Heading", keys.HEADING, venue.heading_rad, hint=out),
        number_field("length", "Length of the straight", keys.LENGTH, venue.length_m),
        quantity_field(
            "grade", "Grade", keys.GRADE, venue.grade, unit="pct",
            hint="Uphill travelling out is positive. Empty: estimated from runs both ways.",
        ),
        number_field("altitude", "Altitude", keys.ALTITUDE, venue.altitude_m),
    )  # fmt: skip
    return Form(slug, "Venue", venue_text(day), fields)


def venue_change(day: Day, _: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    venue = replace(
        day.venue,
        name=one(typed, "name")[:LONGEST_NAME],
        heading_rad=typed_number(typed, "heading", "The heading", keys.HEADING),
        length_m=typed_number(typed, "length", "The length of the straight", keys.LENGTH),
        grade=typed_quantity(typed, "grade", "The grade", keys.GRADE, unit="pct", before=day.venue.grade),
        altitude_m=typed_number(typed, "altitude", "The altitude", keys.ALTITUDE),
    )
    return change_day(day, venue=venue)


def day_text(day: Day) -> str:
    """The day in one line."""
    date, zone = day.date.isoformat() if day.date else "no date", day.timezone or "the computer's time zone"
    return f"{day.name}, {date}, {zone}, reference speed {float(from_si(day.reference_speed_mps, 'kmh')):.4g} km/h"


def venue_text(day: Day) -> str:
    """The venue in one line."""
    venue = day.venue
    heading = (
        "heading not given" if venue.heading_rad is None else f"heading {float(from_si(venue.heading_rad, 'deg')):g}°"
    )
    grade = "grade estimated" if venue.grade is None else f"grade {text_of(venue.grade, 'pct')}"
    parts = [venue.name or "no name", heading, grade]
    parts += [f"{venue.length_m:g} m long"] if venue.length_m is not None else []
    parts += [f"{venue.altitude_m:g} m above the sea"] if venue.altitude_m is not None else []
    parts += [f"elevation known at {len(venue.elevation)} points"] if venue.elevation else []
    return ", ".join(parts)


def _date(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text) if text else None
    except ValueError:
        raise FieldError("date", f"The date must be written year-month-day, not “{text[:40]}”.") from None


def _zone(text: str) -> str | None:
    if not text:
        return None
    try:
        zoneinfo.ZoneInfo(text)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise FieldError("timezone", f"“{text[:60]}” is no time zone such as Europe/Lisbon.") from None
    return text
