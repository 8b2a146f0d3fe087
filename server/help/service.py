"""What the help is made of: its pages, the finding codes, and the tables that the study command writes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from server.figures.table import Cell, Table
from server.locations import web_folder

TOPICS = {
    "days": "The list of days",
    "add": "Adding a day",
    "result": "Reading a result",
    "method": "The method in short",
    "findings": "Findings and their codes",
    "studies": "How well it does: studies",
    "cautions": "Cautions for track testing",
    "glossary": "Words",
}


@dataclass(frozen=True, slots=True)
class Study:
    """A table that a study command made: what was asked, by which command, and the rows."""

    title: str
    command: str
    text: str
    table: Table
    note: str = ""


def studies(folder: Path | None = None) -> list[Study]:
    """Every study in web/help/*.json, in the order of their file names."""
    place = folder or web_folder() / "help"
    return [study for file in sorted(place.glob("*.json")) for study in _read(file)]


def _read(file: Path) -> list[Study]:
    """A file holds one study or {"studies": [...]}; each {title, command, text, columns, rows, note}."""
    content = json.loads(file.read_text(encoding="utf-8"))
    return [_study(one) for one in content.get("studies", [content])]


def _study(one: dict[str, object]) -> Study:
    columns = tuple(str(column) for column in _list(one["columns"]))
    rows = tuple(tuple(_cell(cell) for cell in _list(row)) for row in _list(one["rows"]))
    return Study(
        str(one["title"]),
        str(one["command"]),
        str(one.get("text", "")),
        Table(columns, rows),
        str(one.get("note", "")),
    )


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise ValueError(f"a study's columns and rows must be lists, not {type(value).__name__}")
    return value


def _cell(value: object) -> Cell:
    return value if value is None or isinstance(value, str | int | float) else str(value)
