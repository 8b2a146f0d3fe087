"""Plain values as TOML text: what `folder_toml` reads back without losing a digit."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

from server.testday.quantities import clock_from_s, number_text

Value = str | bool | int | Decimal | dt.date | dt.time | Sequence["Value"] | Mapping[str, "Value"]
Pairs = dict[str, Value | None]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_MICROSECOND_DIGITS = 6


def section(header: str, pairs: Pairs) -> list[str]:
    """Return a table's lines: a blank one, its header, its pairs; what is None is left out."""
    lines = [f"{key_text(key)} = {value_text(value)}" for key, value in pairs.items() if value is not None]
    return ["", header, *lines] if header and lines else lines


def key_text(key: str) -> str:
    """Write a key bare where TOML allows it, else in quotes."""
    return key if _BARE.fullmatch(key) else value_text(key)


def value_text(value: Value) -> str:
    """Write one value."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool | int):
        return str(value).lower()
    if isinstance(value, Decimal):
        return number_text(value)
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return (
            "{ " + ", ".join(f"{key_text(key)} = {value_text(entry)}" for key, entry in value.items()) + " }"
        )
    return "[" + ", ".join(value_text(entry) for entry in value) + "]"


def clock_value(seconds: float | None) -> Value | None:
    """Return a clock time bare where TOML can hold it (microseconds), else as a text."""
    if seconds is None:
        return None
    text = clock_from_s(seconds)
    fraction = text.partition(".")[2]
    return text if len(fraction) > _MICROSECOND_DIGITS else dt.time.fromisoformat(text)
