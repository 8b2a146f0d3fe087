"""Tuft photos of a day folder: the photos in tufts/, what tufts.csv says of them, marks, stations and views beside.

    tufts.csv            photo, kind, run, setup, part, view, run_by, standing, flow_deg, burst, who, notes
    tufts/marks.csv      photo, reader, mark, x_px, y_px, direction_deg, condition, station, by, …
    tufts/stations.csv   part, station, x_mm, y_mm, direction_deg, condition, setup
    tufts/views.csv      view, part, photo, point, x_mm, y_mm, x_px, y_px

All of them may be absent: a photo that no line speaks of is a photo all the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from server.testday.folder_csv import read_lines
from server.testday.folder_keys import Key
from server.testday.folder_numbers import needed_number, number, written_number
from server.testday.folder_paths import existing
from server.testday.folder_table import Table
from server.testday.tuft_stations import read_stations
from server.testday.tufts import CONDITIONS, Condition, MarkedBy, PointPair, SettledBy, TuftMark, TuftStation
from server.testday.values import Finding

PHOTOS, FOLDER = "tufts.csv", "tufts"
MARKS, STATIONS, VIEWS = f"{FOLDER}/marks.csv", f"{FOLDER}/stations.csv", f"{FOLDER}/views.csv"
ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
KINDS = ("photo", "prediction")
SETTLED = ("person", "stations", "tape", "taper", "flow", "no-flow")
MOST_PX = 100_000
FLOW = Key("flow", "deg", "a direction", -360, 360)
DIRECTION = Key("direction", "deg", "a direction", -360, 360)
DIRECTION_U = Key("direction_u", "deg", "an uncertainty", 0, 360)
SPREAD = Key("spread", "deg", "a spread", 0, 360)
PLACE_MM = tuple(Key(axis, "mm", "a place on a part", -20_000, 20_000) for axis in "xy")
_PHOTO_TEXTS = ("photo", "kind", "setup", "part", "view", "run_by", "standing", "burst", "who", "notes")
_MARK_TEXTS = ("photo", "reader", "mark", "condition", "station", "by", "settled_by")
_PX = ("x_px", "y_px")


@dataclass(frozen=True, slots=True)
class FolderPhoto:
    """A photo in a day folder and what is said of it. path: in the folder; settled: a person said which run it is."""

    path: str
    kind: str = "photo"
    run: int | None = None
    setup: str = ""
    part: str = ""
    view: str = ""
    settled: bool = False
    standing: bool = False
    flow_rad: float | None = None
    burst: str = ""
    who: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class FolderMark:
    """A mark on a photo. reader: whose reading it is part of; name: the mark's own."""

    photo: str
    reader: str
    name: str
    mark: TuftMark


@dataclass(frozen=True, slots=True)
class FolderView:
    """How a part lies on the photos of a view; photo: the one that the points were found on."""

    view: str
    part: str
    photo: str
    pairs: tuple[PointPair, ...]


@dataclass(frozen=True, slots=True)
class FolderTufts:
    """All of tufts that a day folder holds."""

    photos: tuple[FolderPhoto, ...] = ()
    marks: tuple[FolderMark, ...] = ()
    stations: tuple[TuftStation, ...] = ()
    views: tuple[FolderView, ...] = ()
    findings: tuple[Finding, ...] = ()


def read_tufts(folder: Path) -> FolderTufts:
    """Read what a day folder holds of tufts. Raises DayFolderError that names file, line and column."""
    findings: list[Finding] = []
    photos = {one.path: one for one in _told_photos(folder, findings)}
    for path in _files(folder):
        photos.setdefault(path, FolderPhoto(path))
    stations = read_stations(folder / STATIONS, STATIONS, findings) if (folder / STATIONS).is_file() else ()
    marks, views = _marks(folder, photos, findings), _views(folder, photos, findings)
    return FolderTufts(tuple(photos.values()), marks, stations, views, tuple(findings))


def _files(folder: Path) -> list[str]:
    there = sorted((folder / FOLDER).iterdir()) if (folder / FOLDER).is_dir() else []
    pictures = (file for file in there if file.suffix.lower() in ENDINGS and file.is_file() and not file.is_symlink())
    return [f"{FOLDER}/{file.name}" for file in pictures]


def _told_photos(folder: Path, findings: list[Finding]) -> list[FolderPhoto]:
    if not (folder / PHOTOS).is_file():
        return []
    lines = read_lines(folder / PHOTOS, PHOTOS, ("run", FLOW.name), _PHOTO_TEXTS, findings)
    return [_photo(folder, line) for line in lines]


def _photo(folder: Path, line: Table) -> FolderPhoto:
    named = line.text("photo") or line.missing("photo", "; a line speaks of one")
    path = named if named.startswith(f"{FOLDER}/") else f"{FOLDER}/{named}"
    existing(folder, line, "photo", path)
    texts = {key: line.name(key) or "" for key in ("setup", "part", "view", "burst", "who")}
    return FolderPhoto(
        path=path,
        kind=line.word("kind", KINDS, "a kind of picture") or "photo",
        run=_run(line),
        settled=line.word("run_by", ("person", "clock"), "who said the run") != "clock",
        standing=line.word("standing", ("yes", "no"), "whether the car stands") == "yes",
        flow_rad=number(line, FLOW),
        notes=line.text("notes") or "",
        **texts,
    )


def _run(line: Table) -> int | None:
    written = written_number(line, "run")
    if written is None:
        return None
    if written != written.to_integral_value() or not 0 <= written <= 2**31:
        line.refuse("run", f"is {written}; it must be the number of a run.")
    return int(written)


def _marks(folder: Path, photos: dict[str, FolderPhoto], findings: list[Finding]) -> tuple[FolderMark, ...]:
    if not (folder / MARKS).is_file():
        return ()
    numbers = (*_PX, DIRECTION.name, "length_px", DIRECTION_U.name, SPREAD.name, "settled_confidence")
    lines = read_lines(folder / MARKS, MARKS, numbers, _MARK_TEXTS, findings)
    return tuple(_mark(line, photos, place) for place, line in enumerate(lines))


def _mark(line: Table, photos: dict[str, FolderPhoto], place: int) -> FolderMark:
    reader = line.name("reader") or ""
    by = cast("MarkedBy", line.word("by", ("person", "machine"), "who saw it") or "person")
    settled_by = line.word("settled_by", SETTLED, "what told root from end")
    x, y = (_needed_px(line, key) for key in _PX)
    mark = TuftMark(
        x_px=x,
        y_px=y,
        direction_rad=_turn(number(line, DIRECTION)),
        condition=cast("Condition | None", line.word("condition", CONDITIONS, "a condition")),
        by=by,
        accepted=True,
        who=reader,
        station=line.name("station"),
        length_px=_px(line, "length_px"),
        direction_u_rad=number(line, DIRECTION_U),
        direction_settled_by=cast("SettledBy | None", settled_by),
        settled_confidence=_share(line, "settled_confidence"),
        spread_rad=number(line, SPREAD),
    )
    return FolderMark(_photo_of(line, photos), reader, line.name("mark") or f"line-{place + 2}-of-marks", mark)


def _photo_of(line: Table, photos: dict[str, FolderPhoto]) -> str:
    named = line.text("photo") or line.missing("photo", "; a line speaks of one")
    path = named if named.startswith(f"{FOLDER}/") else f"{FOLDER}/{named}"
    if path not in photos:
        line.refuse("photo", f"is {named[:60]!r}; the folder has no such photo.")
    return path


def _needed_px(line: Table, key: str) -> float:
    value = _px(line, key)
    return line.missing(key) if value is None else value


def _px(line: Table, key: str) -> float | None:
    written = written_number(line, key)
    if written is not None and not 0 <= written <= MOST_PX:
        line.refuse(key, f"is {written}; pixels lie between 0 and {MOST_PX:,}.")
    return None if written is None else float(written)


def _share(line: Table, key: str) -> float | None:
    written = written_number(line, key)
    if written is not None and not 0 <= written <= 1:
        line.refuse(key, f"is {written}; a probability lies between 0 and 1.")
    return None if written is None else float(written)


def _turn(angle_rad: float | None) -> float | None:
    return None if angle_rad is None else math.remainder(angle_rad, math.tau)


def _views(folder: Path, photos: dict[str, FolderPhoto], findings: list[Finding]) -> tuple[FolderView, ...]:
    if not (folder / VIEWS).is_file():
        return ()
    numbers = (*(key.name for key in PLACE_MM), *_PX)
    lines = read_lines(folder / VIEWS, VIEWS, numbers, ("view", "part", "photo", "point"), findings)
    found: dict[tuple[str, str, str], list[PointPair]] = {}
    for line in lines:
        view, part = (line.name(key) or line.missing(key, "; points belong to one") for key in ("view", "part"))
        x_m, y_m = (needed_number(line, key) for key in PLACE_MM)
        x_px, y_px = (_needed_px(line, key) for key in _PX)
        pair = PointPair(x_m, y_m, x_px, y_px, line.name("point") or "")
        found.setdefault((view, part, _photo_of(line, photos)), []).append(pair)
    return tuple(FolderView(*key, tuple(pairs)) for key, pairs in found.items())
