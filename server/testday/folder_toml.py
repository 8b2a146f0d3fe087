"""The text of testday.toml as nested dictionaries, numbers kept as they were written."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from server.errors import DayFolderError
from server.testday.folder_csv import read_text

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def read_toml(path: Path, name: str) -> dict[str, Any]:
    """Return the tables of a TOML file, its floats as Decimal.

    Raises DayFolderError with line and column where the text is not TOML.
    """
    text = read_text(path, name)
    try:
        return tomllib.loads(text, parse_float=_decimal)
    except tomllib.TOMLDecodeError as error:
        raise DayFolderError(f"{name}: {_sentence(str(error), text)}.") from error
    except (ValueError, RecursionError) as error:
        raise DayFolderError(
            f"{name}: is not readable as TOML; a number or a nesting is too long."
        ) from error


def _decimal(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:  # an exponent beyond all bounds
        return Decimal("NaN")


def _sentence(error: str, text: str) -> str:
    match = _PLACE.search(error)
    what = _PLACE.sub("", error)
    if match is None or match[1] is None:
        lines = text.rstrip().split("\n")
        return f"line {len(lines)}, column {len(lines[-1])} (the end) is not readable as TOML: {_lower(what)}"
    return f"line {match[1]}, column {match[2]} is not readable as TOML: {_lower(what)}"


def _lower(what: str) -> str:
    return what[:1].lower() + what[1:]
