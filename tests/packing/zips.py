"""Packed seasons as tests handle them: taken into an archive, looked into, rewritten by somebody who tampers."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from server.archive.archive import Archive
from server.archive.events import SEALED, seal
from server.archive.tables import Event, RawFile
from server.days.service import hash_of_files
from server.packing.bringing import bring
from server.packing.carried import line_text
from server.packing.season_zip import HISTORY, MANIFEST, ROWS
from server.packing.unpacking import unpack

STATEMENT = "Calm morning, four pairs each: good enough to choose the flap by."
Alter = Callable[[dict[str, bytes]], None]


def silent(_part: float, _text: str) -> None:
    """Nobody listens."""


def unpacked_into(archive: Archive, file: Path, scratch: Path) -> int:
    folder = scratch / "apart"
    folder.mkdir()
    return bring(archive, unpack(file, folder, silent), "Cleo")


def contents(file: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(file) as made:
        return {name: made.read(name) for name in made.namelist()}


def nothing_kept(archive: Archive) -> bool:
    with archive.database.reading() as session:
        rows = session.query(Event).count() + session.query(RawFile).count()
    return rows == 0 and not [one for one in archive.raw.folder.rglob("*") if one.is_file()]


def rewritten(season: Path, target: Path, change: Alter, *, seal: bool = False) -> Path:
    """The season with something else in it; seal: the manifest tells of it, as somebody who tampers would see to."""
    held = contents(season)
    change(held)
    if seal:
        manifest = json.loads(held[MANIFEST])
        manifest["files"] = {
            path: {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
            for path, data in held.items()
            if path != MANIFEST
        }
        held[MANIFEST] = json.dumps(manifest).encode()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in held.items():
            made.writestr(name, data)
    return target


TOML = "days/2026-05-09 Long apron/testday.toml"


def altered_row(held: dict[str, bytes]) -> None:
    held[ROWS] = held[ROWS].replace(b'"The mesh."', b'"The wind."')


def altered_event(held: dict[str, bytes]) -> None:
    held[HISTORY] = held[HISTORY].replace(b"asked the driver", b"told the driver!")


def without(path: str) -> Alter:
    return lambda held: held.pop(path) and None


def with_file(path: str, data: bytes) -> Alter:
    return lambda held: held.update({path: data})


def lines_of(held: dict[str, bytes], path: str) -> list[dict[str, Any]]:
    """Rows or events as they are packed."""
    return [json.loads(line) for line in held[path].splitlines()]


def retell(held: dict[str, bytes], path: str, lines: list[dict[str, Any]]) -> None:
    """Put rows or events in their place, events with seals that are right."""
    if path == HISTORY:
        lines = [one | {"sha256": seal(Event(**{key: one[key] for key in SEALED}))} for one in lines]
    held[path] = "".join(map(line_text, lines)).encode()


def with_path(path: str) -> Alter:
    """A log of the second day under another path; its hashes and events tell of it, as if it had always been so."""

    def change(held: dict[str, bytes]) -> None:
        rows = lines_of(held, ROWS)
        revision = next(one for one in rows if one["table"] == "day_revisions" and one["day_id"] == 2)
        files = [one for one in rows if one["table"] == "revision_files" and one["revision_id"] == revision["id"]]
        next(one for one in files if one["path"] != "testday.toml")["path"] = path
        before, after = revision["content_sha256"], hash_of_files((one["path"], one["sha256"]) for one in files)
        retell(held, ROWS, rows)
        events = json.loads(json.dumps(lines_of(held, HISTORY)).replace(before, after))
        held[ROWS] = held[ROWS].replace(before.encode(), after.encode())
        retell(held, HISTORY, events)

    return change


def with_row(of: str, **values: Any) -> Alter:
    """The first row of a table with other values."""

    def change(held: dict[str, bytes]) -> None:
        rows = lines_of(held, ROWS)
        next(one for one in rows if one["table"] == of).update(values)
        retell(held, ROWS, rows)

    return change


def with_event(**values: Any) -> Alter:
    """One event more, like the last, with other values."""

    def change(held: dict[str, bytes]) -> None:
        events = lines_of(held, HISTORY)
        retell(held, HISTORY, [*events, events[-1] | {"id": events[-1]["id"] + 1} | values])

    return change
