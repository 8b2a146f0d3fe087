"""A day typed into the form: mass, air and which log is which setup, written as a test-day folder."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import shutil
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, get_args

from server.errors import UploadError
from server.testday.values import Coasting, Direction

COASTING_WORDS: tuple[str, ...] = tuple(word for word in get_args(Coasting) if word != "unknown")
DIRECTION_WORDS: tuple[str, ...] = get_args(Direction)
KMH_TO_MPS = 1.0 / 3.6


@dataclass(frozen=True, slots=True)
class SentLog:
    """A log of the form: the name it came with, its bytes, its setup and, where said, its direction."""

    name: str
    content: BinaryIO
    setup: str
    direction: str = ""


@dataclass(frozen=True, slots=True)
class NumberField:
    """A number of the form. `default` stands in the empty form; without one an optional field is left out."""

    name: str
    label: str
    unit: str
    default: str = ""
    required: bool = True
    help: str = ""


CAR_FIELDS = (
    NumberField("mass", "Car, ready to run, without driver", "kg"),
    NumberField(
        "driver_mass",
        "Driver with helmet and suit",
        "kg",
        required=False,
        help="Left empty, a wide default is taken and the result says so.",
    ),
)
AIR_FIELDS = (
    NumberField(
        "pressure",
        "Station pressure",
        "hPa",
        help="As a barometer at the track reads it, not reduced to sea level.",
    ),
    NumberField("temperature", "Air temperature", "°C"),
    NumberField(
        "humidity",
        "Relative humidity",
        "%",
        required=False,
        help="Left empty, a wide default is taken and the result says so.",
    ),
)
DAY_FIELDS = (
    NumberField(
        "reference_speed", "Reference speed", "km/h", "79.2", help="The speed that the areas are quoted at."
    ),
    NumberField(
        "heading",
        "Heading of the straight, travelling out",
        "° true",
        required=False,
        help="Leave empty when the logs carry a position.",
    ),
)
NUMBER_FIELDS = CAR_FIELDS + AIR_FIELDS + DAY_FIELDS


def write_typed_day(fields: Mapping[str, str], logs: list[SentLog], folder: Path) -> None:
    """Write testday.toml and logs/ into `folder`. Raises UploadError, one sentence, for what is missing."""
    numbers = {field.name: _number(fields.get(field.name, ""), field) for field in NUMBER_FIELDS}
    _check(logs, fields.get("coasting", ""))
    (folder / "logs").mkdir(parents=True)
    files = [_write_log(number, log, folder) for number, log in enumerate(logs, 1)]
    lines = [
        *_head(fields, numbers),
        *_setups(logs),
        *_runs(fields, numbers, logs, files),
        *_channels(fields),
    ]
    text = "\n".join(lines) + "\n"
    tomllib.loads(text)
    (folder / "testday.toml").write_text(text, encoding="utf-8")


def _number(text: str, field: NumberField) -> float | None:
    """The number of a field, with decimal point or comma; None for an optional one that was left empty."""
    text = text.strip()
    if not text:
        if field.required:
            raise UploadError(f"{field.label} [{field.unit}] is missing.")
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise UploadError(f"{field.label} [{field.unit}] must be a number, not “{text[:40]}”.")
    return number


def _check(logs: list[SentLog], coasting: str) -> None:
    if not logs:
        raise UploadError("No log was sent; choose at least one logger file.")
    if coasting not in COASTING_WORDS:
        raise UploadError("Say how the car coasted, so that engine braking is not taken for drag.")
    for log in logs:
        if not log.setup.strip():
            raise UploadError(f"{log.name} has no setup; give it a letter or a name.")
        if log.direction not in ("", *DIRECTION_WORDS):
            raise UploadError(f"The direction of {log.name} must be out or back.")


def _write_log(number: int, log: SentLog, folder: Path) -> str:
    """Copy a log byte for byte under a safe name; gives its path in the folder."""
    safe = re.sub(r"[^A-Za-z0-9._-]+", "_", Path(log.name.replace("\\", "/")).name).strip("._") or "log"
    path = f"logs/{number:02d}_{safe[-80:]}"
    with (folder / path).open("wb") as target:
        shutil.copyfileobj(log.content, target, 1 << 20)
    return path


def _head(fields: Mapping[str, str], numbers: Mapping[str, float | None]) -> list[str]:
    date = _date(fields.get("date", ""))
    heading = numbers["heading"]
    return [
        "format = 1",
        f"name = {_text(fields.get('name', '').strip() or f'Test day of {date.isoformat()}')}",
        f"date = {date.isoformat()}",
        f"reference_speed_mps = {(numbers['reference_speed'] or 0.0) * KMH_TO_MPS!r}",
        *(["[venue]", f"heading_deg = {heading!r}"] if heading is not None else []),
        "[car]",
        'name = "car"',
        f"mass_kg = {numbers['mass']!r}",
        "[[weather]]",
        f"pressure_hpa = {numbers['pressure']!r}",
        f"temperature_c = {numbers['temperature']!r}",
        *([f"humidity_pct = {numbers['humidity']!r}"] if numbers["humidity"] is not None else []),
    ]


def _date(text: str) -> dt.date:
    if not text.strip():
        return dt.datetime.now().astimezone().date()
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        raise UploadError(f"The date must be written year-month-day, not “{text[:40]}”.") from None


def _setups(logs: list[SentLog]) -> list[str]:
    names = list(dict.fromkeys(log.setup.strip() for log in logs))
    lines = ["[[setups]]", f"name = {_text(names[0])}"]
    for name in names[1:]:
        lines += ["[[setups]]", f"name = {_text(name)}", f"baseline = {_text(names[0])}"]
    return lines


def _runs(
    fields: Mapping[str, str], numbers: Mapping[str, float | None], logs: list[SentLog], files: list[str]
) -> list[str]:
    lines: list[str] = []
    for number, (log, file) in enumerate(zip(logs, files, strict=True), 1):
        lines += [
            "[[runs]]",
            f"number = {number}",
            f"setup = {_text(log.setup.strip())}",
            f"log = {_text(file)}",
        ]
        if numbers["driver_mass"] is not None:
            lines += [f"driver_mass_kg = {numbers['driver_mass']!r}"]
        lines += [f"coasting = {_text(fields['coasting'])}"]
        lines += [f"direction = {_text(log.direction)}"] if log.direction else []
    return lines


def _channels(fields: Mapping[str, str]) -> list[str]:
    """The lines “role = column” of the form's text box."""
    lines = ["[channels]"]
    for line in fields.get("channels", "").splitlines():
        if not line.strip():
            continue
        role, equals, column = (part.strip() for part in line.partition("="))
        if not equals or not column or not re.fullmatch(r"[a-z_]+", role):
            raise UploadError(f"Columns are named as “role = column”, a line each; “{line[:60]}” is not.")
        lines.append(f"{role} = {_text(column.strip(chr(34)))}")
    return lines if len(lines) > 1 else []


def _text(text: str) -> str:
    """A TOML basic string: JSON's escapes, and DEL, which TOML escapes as well."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
