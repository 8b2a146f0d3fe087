"""A season as one zip, made while it is sent: what lies in it, the manifest with every SHA-256, the stream."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.events import head
from server.archive.raw_files import sha256_of
from server.archive.tables import Event, RawFile
from server.days.service import newest_revision, revision_files
from server.days.zip_stream import zip_pieces
from server.packing.carried import hashes_in, line_text, row_lines
from server.packing.choosing import Chosen, PackedDay, choose
from server.packing.past import carried_events, event_line, hashes_told
from server.packing.sheets import Source, sheets
from server.results.service import ResultShelf
from server.tufts.folder import with_tufts

FORMAT = 1
MANIFEST, READ_ME, ROWS, HISTORY = "manifest.json", "README.txt", "kept/rows.jsonl", "kept/events.jsonl"
DAYS, KEPT = "days", "kept/files"
CARRIED = (
    "Every day's newest revision as a folder, byte for byte, with its tuft photos and marks as they stand.",
    "Every revision and every result of these days, each result with the files, options, seed and versions it is made "
    "of; sign-offs and amendments; notes, checks and remarks.",
    "Tuft photos, and every mark, station, view and camera clock, also those that were superseded.",
    "Every set of predictions of the cars, with its table as it came, its end if it ended, and which setup each name "
    "means; margins; decisions on verdicts; measured taps; which setups were released to race.",
    "The events of these days and cars, each with its seal; studies, plans and checks of results that they name.",
    "Which column was given which role, and how tables of predictions were read, as proposals for the next.",
)
LEFT_OUT = (
    "Accounts, passwords and tokens; jobs; tables of predictions that are not a set yet; uploads and the zips in which "
    "days were sent (their files are carried).",
    "Channels read for looking at, and small pictures: they are made anew from the files.",
    "Events of other days, of accounts, of backups and of checks of the archive: so the seals of the events are "
    "carried, and the unbroken chain stays with the archive that packed them; its newest event stands in the manifest.",
    "What names a day that is not packed: a set of predictions that came with such a day stands as one of its car.",
)
ABOUT = """A season of test days, packed by Stillair {version}: {scope}, {days}.

days/      each day as a test-day folder; each can be fitted, mailed and read without a server
tables/    results, differences, correlation, decisions, events as CSV: SI units, every digit
kept/      what another archive needs to hold all of it: rows and events as JSON, one a line, and the files they name
manifest.json   SHA-256 and bytes of every file here, the archive's newest event, what is carried and what is not

Into an empty archive:  stillair unpack SEASON.zip --data FOLDER

Carried:
{carried}

Not carried:
{left_out}
"""


@dataclass(frozen=True, slots=True)
class Packed:
    """What a zip will hold: its files by path, their hashes, and its name."""

    name: str
    files: Mapping[str, Path | bytes]
    sums: Mapping[str, str]
    manifest: Mapping[str, Any]

    def pieces(self) -> Iterator[bytes]:
        """The zip; raises StillairError in the middle where a kept file has other bytes than it was kept with."""
        return zip_pieces(self.files, self.sums)


@dataclass(slots=True)
class _Content:
    files: dict[str, Path | bytes]
    told: dict[str, dict[str, Any]]
    at: dict[str, str]

    def put(self, path: str, file: Path | bytes, sha256: str, size: int) -> None:
        """A file of the zip."""
        self.files[path], self.told[path] = file, {"sha256": sha256, "bytes": size}
        self.at.setdefault(sha256, path)

    def make(self, path: str, content: bytes) -> None:
        """A file that is made here."""
        self.put(path, content, hashlib.sha256(content).hexdigest(), len(content))


def pack(archive: Archive, scratch: Path, year: int | None = None, car: str = "") -> Packed:
    """All that goes into the zip, as it stands at one moment; scratch: stays until the zip has been sent.

    Raises StillairError where nothing is chosen, NotFoundError where a file is gone.
    """
    content = _Content({}, {}, {})
    with archive.database.reading() as session:
        chosen = choose(archive, session, year, car)
        events = list(carried_events(session, chosen))
        for day in chosen.days:
            _put_day(archive, session, content, day)
        hashes = _write_rows(session, chosen, scratch / "rows.jsonl", content)
        _write_events(events, scratch / "events.jsonl", content)
        told = {sha256 for event in events for sha256 in hashes_told(event)}
        _put_kept(archive, session, content, hashes, told)
        for path, table in sheets(Source(archive, session, ResultShelf(archive), chosen, events)):
            content.make(path, table)
        newest = head(session)
    content.make(READ_ME, _about(chosen).encode())
    manifest = _manifest(chosen, content, newest)
    content.files[MANIFEST] = json.dumps(manifest, ensure_ascii=False, indent=1, sort_keys=True).encode()
    sums = {path: one["sha256"] for path, one in content.told.items()}
    return Packed(f"season {chosen.scope}.zip", content.files, sums, manifest)


def _put_day(archive: Archive, session: Session, content: _Content, day: PackedDay) -> None:
    """The day's folder, as `export` writes it."""
    kept = revision_files(session, newest_revision(session, day.id).id)
    sizes = _sizes(session, set(kept.values()))
    own = {path: archive.raw.path(sha256) for path, sha256 in kept.items()}
    for path, file in with_tufts(archive, session, day.id, own).items():
        inside = f"{DAYS}/{day.folder}/{path}"
        if isinstance(file, bytes):
            content.make(inside, file)
        elif file == own.get(path):
            content.put(inside, file, kept[path], sizes[kept[path]])
        else:
            content.put(inside, file, file.name, file.stat().st_size)


def _sizes(session: Session, hashes: set[str]) -> dict[str, int]:
    found = session.execute(select(RawFile.sha256, RawFile.size_bytes).where(RawFile.sha256.in_(hashes)))
    return {sha256: size for sha256, size in found}  # noqa: C416 - rows are no pairs to dict()


def _write_rows(session: Session, chosen: Chosen, file: Path, content: _Content) -> set[str]:
    hashes: set[str] = set()
    with file.open("w", encoding="utf-8", newline="\n") as out:
        for line in row_lines(session, chosen):
            hashes.update(hashes_in(line))
            out.write(line_text(line))
    content.put(ROWS, file, sha256_of(file), file.stat().st_size)
    return hashes


def _write_events(events: list[Event], file: Path, content: _Content) -> None:
    with file.open("w", encoding="utf-8", newline="\n") as out:
        out.writelines(line_text(event_line(event)) for event in events)
    content.put(HISTORY, file, sha256_of(file), file.stat().st_size)


def _put_kept(archive: Archive, session: Session, content: _Content, named: set[str], told: set[str]) -> None:
    """Files that rows and events name and that lie in no day's folder; not all that looks like a hash is a file."""
    kept = dict(_all_sizes(session))
    for sha256 in sorted((named | (told & kept.keys())) - content.at.keys()):
        content.put(f"{KEPT}/{sha256}", archive.raw.path(sha256), sha256, kept[sha256])


def _all_sizes(session: Session) -> Iterator[tuple[str, int]]:
    yield from ((sha256, size) for sha256, size in session.execute(select(RawFile.sha256, RawFile.size_bytes)))


def _about(chosen: Chosen) -> str:
    count = len(chosen.days)
    return ABOUT.format(
        version=__version__,
        scope=chosen.scope,
        days=f"{count} day{'' if count == 1 else 's'}",
        carried="\n".join(f"- {one}" for one in CARRIED),
        left_out="\n".join(f"- {one}" for one in LEFT_OUT),
    )


def _manifest(chosen: Chosen, content: _Content, newest: tuple[int, str]) -> dict[str, Any]:
    days = [
        {"folder": day.folder, "name": day.name, "date": day.date.isoformat() if day.date else None}
        for day in chosen.days
    ]
    return {
        "format": FORMAT,
        "program": f"Stillair {__version__}",
        "scope": chosen.scope,
        "days": days,
        "newest_event": {"number": newest[0], "sha256": newest[1]},
        "carried": list(CARRIED),
        "not_carried": list(LEFT_OUT),
        "files": content.told,
    }


def write_zip(packed: Packed, target: Path) -> int:
    """Write the zip whole, or not at all; gives its bytes. Raises StillairError where a kept file was altered."""
    part = target.with_name(f".{target.name}.part")
    try:
        with part.open("wb") as out, closing(packed.pieces()) as pieces:  # type: ignore[type-var]
            for piece in pieces:
                out.write(piece)
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return target.stat().st_size
