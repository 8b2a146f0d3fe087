"""Studies as the help shows them, from the JSON files that the study commands write into web/help."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.figures.table import Table
from server.locations import web_folder

Form = Callable[[Any], str]


@dataclass(frozen=True, slots=True)
class Study:
    """A table that a study command made: what was asked, by which command, and the rows."""

    title: str
    command: str
    text: str
    table: Table
    note: str = ""


def _percent(value: float) -> str:
    return f"{100.0 * value:.1f} %"


def _digits(value: float) -> str:
    return f"{value:.3g}"


def _count(value: int) -> str:
    return f"{value:,}"


def _hundredths(value: float) -> str:
    return f"{value:.2f}"


# Key in a row, column on the page, how its values are written.
COVERAGE_COLUMNS: tuple[tuple[str, str, Form], ...] = (
    ("stratum", "kind of day", str),
    ("n", "days", _count),
    ("missing", "without area", _count),
    ("coverage", "held the truth", _percent),
    ("coverage_low99", "99 % bound, low", _percent),
    ("coverage_high99", "99 % bound, high", _percent),
    ("rms_z", "RMS(error/u)", _hundredths),
    ("rms_relative", "RMS error", _percent),
    ("median_relative_u", "median u", _percent),
    ("error_over_bound", "RMS error / posterior bound", _hundredths),
    ("interval_three_rms", "interval method, 3 terms", _percent),
    ("interval_two_rms", "2 terms", _percent),
)
ESTIMATE_COLUMNS: tuple[tuple[str, str, Form], ...] = (
    ("stratum", "estimate", str),
    ("n", "asked", _count),
    ("missing", "without a value", _count),
    ("coverage", "held the truth", _percent),
    ("rms_z", "RMS(error/u)", _hundredths),
    ("mean_z", "mean of error/u", _hundredths),
)
ESTIMATE_WORDS = {
    "SCx": "drag area SCx",
    "SCx_apparent": "drag area as coasting sees it",
    "SCz": "downforce area SCz",
    "SCz_front": "SCz, front axle",
    "SCz_rear": "SCz, rear axle",
    "balance_front": "balance, front share",
    "LD": "downforce over drag",
    "c0": "rolling resistance c0",
    "c1": "rise of rolling resistance c1",
    "grade": "grade",
    "head_wind_out": "head wind",
    "weight_speed": "speed at which downforce equals weight",
    "ride_height_front": "ride height, front axle",
    "ride_height_rear": "ride height, rear axle",
}
SIMULATED_COLUMNS: tuple[tuple[str, str, Form], ...] = (
    ("setup", "setup", str),
    ("baseline", "against", str),
    ("quantity", "quantity", str),
    ("unit", "unit", str),
    ("days", "days", str),
    ("coverage", "held the truth", _percent),
    ("coverage_low", "95 % bound, low", _percent),
    ("coverage_high", "95 % bound, high", _percent),
    ("rms_error", "RMS error", _digits),
    ("rms_z", "RMS(error/u)", _hundredths),
    ("mean_u95", "mean U95", _digits),
)


def studies(folder: Path | None = None) -> list[Study]:
    """Every study in web/help/*.json, in the order of their file names."""
    place = folder or web_folder() / "help"
    files = sorted(place.glob("*.json"))
    contents = [json.loads(file.read_text(encoding="utf-8")) for file in files]
    return [
        study
        for content in contents
        for study in (study_of(content), *_other_estimates(content), *further_tables(content))
    ]


def study_of(content: Mapping[str, Any]) -> Study:
    """One file's study, whichever command wrote it. Raises ValueError for a form that is not known."""
    if "scx" in content and "about" in content:
        return _coverage(content)
    if "rows" in content and "seed" in content:
        return _simulated(content)
    if {"title", "command", "columns", "rows"} <= set(content):
        rows = tuple(tuple(row) for row in content["rows"])
        table = Table(tuple(content["columns"]), rows)
        return Study(content["title"], content["command"], content.get("text", ""), table, content.get("note", ""))
    raise ValueError("a study must hold title, command, columns and rows, or be written by a study command")


def _coverage(content: Mapping[str, Any]) -> Study:
    """What the hostile study of the tests writes."""
    about = dict(content["about"])
    command = str(about.pop("command", "python -m tests.studies coverage"))
    rows = list(content["scx"])
    if content.get("delta_scx"):
        rows.append({"stratum": "differences of setups", **content["delta_scx"]})
    misses = [*content.get("misses", ()), *content.get("delta_misses", ())]
    note = " ".join(misses) or "Coverage, kinds of day and RMS(error/u) are all where they must be."
    title = f"SCx on {content['days']:,} simulated days of many kinds"
    return Study(title, command, _drawn(about), _table(COVERAGE_COLUMNS, rows), note)


def _drawn(about: Mapping[str, Any]) -> str:
    """How the days were drawn, in words: the first seed and what was fixed; what is as always is not said."""
    parts = [f"first seed {about['first_seed']}"] if "first_seed" in about else []
    parts += ["the plain scenario"] if about.get("mixture") is False else []
    parts += [f"{name.replace('_', ' ')} {value}" for name, value in about.get("changes", {}).items()]
    return f"Drawn with {', '.join(parts)}." if parts else ""


def _other_estimates(content: Mapping[str, Any]) -> list[Study]:
    """The other estimates of the same days, where the study tells of them."""
    found = content.get("estimates_of_all_setups")
    if not found:
        return []
    command = str(content["about"].get("command", "python -m tests.studies coverage"))
    rows = [{"stratum": ESTIMATE_WORDS.get(name, name), **tally} for name, tally in found.items()]
    text = "All setups of a day count, and its setups are not independent."
    return [Study("Every estimate of the same days", command, text, _table(ESTIMATE_COLUMNS, rows))]


def further_tables(content: Mapping[str, Any]) -> list[Study]:
    """Further tables of the same file, as they are written: {"title", "columns", "rows", "note"} each.

    Raises ValueError for a table without title, columns or rows, or with a row of another length.
    """
    command = str(content.get("command") or content.get("about", {}).get("command", "python -m tests.studies coverage"))
    found = []
    for table in content.get("tables", ()):
        if not {"title", "columns", "rows"} <= set(table):
            raise ValueError("a table of a study must hold title, columns and rows")
        columns, rows = tuple(table["columns"]), tuple(tuple(row) for row in table["rows"])
        if any(len(row) != len(columns) for row in rows):
            raise ValueError(f"a row of the table “{table['title']}” has not one cell a column")
        found.append(Study(table["title"], command, "", Table(columns, rows), table.get("note", "")))
    return found


def _simulated(content: Mapping[str, Any]) -> Study:
    """What `stillair study --json` writes."""
    title = f"{content['days']:,} simulated days like “{content['name']}”"
    text = f"{content['passes']} coast-downs a day, seed {content['seed']}; "
    text += f"{content['without_area']} days gave no area."
    return Study(title, "stillair study", text, _table(SIMULATED_COLUMNS, content["rows"]))


def _table(columns: tuple[tuple[str, str, Form], ...], rows: list[Mapping[str, Any]]) -> Table:
    """Rows of named values as written cells; what a row lacks is empty."""
    cells = tuple(tuple("" if row.get(key) is None else form(row[key]) for key, _, form in columns) for row in rows)
    return Table(tuple(head for _, head, _ in columns), cells)
