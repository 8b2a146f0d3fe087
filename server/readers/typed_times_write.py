"""Hand-typed times written as a log of a day folder; `typed_times` reads it back."""

from __future__ import annotations

from collections.abc import Sequence

SETTINGS = (
    "seconds_u",
    "speed_u_kmh",
    "speedometer_gain",
    "speedometer_rel_u",
    "speedometer_offset_kmh",
    "speedometer_offset_u_kmh",
)
BothWays = tuple[str, str, str, str]  # speed from, speed to, seconds out, seconds back; as typed, blank where missing


def typed_times_csv(rows: Sequence[BothWays], *, unit: str = "kmh", settings: dict[str, str] | None = None) -> bytes:
    """The file of a both-ways table, UTF-8, separated by semicolons.

    rows: (speed_from, speed_to, seconds_out, seconds_back) as a person typed them; rows of blanks are left out, and
    so are settings. unit: kmh, mps or mph. What is wrong with a row is said by the reader, which names its line.
    Raises ValueError for another unit, a setting that does not exist, a row that has not four cells.
    """
    if unit not in {"kmh", "mps", "mph"}:
        raise ValueError(f"unit must be kmh, mps or mph, got {unit!r}")
    given = {key: value for key, value in (settings or {}).items() if value.strip()}
    if wrong := sorted(set(given) - set(SETTINGS)):
        raise ValueError(f"settings: there is no {wrong[0]!r}")
    lines = [f"{key};{_cell(given[key])}" for key in SETTINGS if key in given]
    lines.append(f"speed_from_{unit};speed_to_{unit};seconds_out;seconds_back")
    for row in rows:
        if len(row) != 4:
            raise ValueError(f"rows: a row has four cells, got {len(row)}")
        cells = [_cell(cell) for cell in row]
        if any(cells):
            lines.append(";".join(cells))
    return ("\n".join(lines) + "\n").encode()


def _cell(text: str) -> str:
    return " ".join(text.split()).replace(";", ",")
