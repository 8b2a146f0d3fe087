"""The [venue] table of a day folder and the elevation file it may name."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from server.errors import DayFolderError
from server.testday import folder_keys as keys
from server.testday.folder_csv import read_lines
from server.testday.folder_numbers import exact_number, needed_number, quantity
from server.testday.folder_paths import existing
from server.testday.folder_table import Table
from server.testday.values import Venue

STEEPEST = 0.2


def read_venue(root: Table, folder: Path) -> Venue:
    """Read [venue]; every key of it is optional."""
    table = root.table("venue", "[venue]")
    if table is None:
        return Venue()
    heading = exact_number(table, keys.HEADING)
    return Venue(
        name=table.text("name") or "",
        heading_rad=heading,
        length_m=exact_number(table, keys.LENGTH),
        grade=quantity(table, keys.GRADE),
        elevation=_elevation(table, folder),
        altitude_m=exact_number(table, keys.ALTITUDE),
    )


def _elevation(table: Table, folder: Path) -> tuple[tuple[float, float], ...]:
    """Read distance_m, elevation_m along 'out'; distances rise, slopes are ones that a straight can have."""
    named = table.text("elevation")
    if named is None:
        return ()
    path = existing(folder, table, "elevation", named)
    columns = (keys.DISTANCE, keys.ELEVATION)
    lines = read_lines(path, named, [key.name for key in columns], (), table.findings)
    points = [(needed_number(line, keys.DISTANCE), needed_number(line, keys.ELEVATION)) for line in lines]
    if len(points) < 2:
        raise DayFolderError(f"{named}: has fewer than two points with distance_m and elevation_m.")
    for line, (a, b) in zip(lines[1:], pairwise(points), strict=True):
        if b[0] <= a[0]:
            line.refuse("distance_m", "does not rise from the line before.")
        if abs(b[1] - a[1]) > STEEPEST * (b[0] - a[0]):
            line.refuse("elevation_m", f"makes a slope of more than {STEEPEST:.0%}; both columns are metres.")
    return tuple(points)
