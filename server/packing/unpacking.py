"""A packed season taken apart without trusting it: every file against the manifest, before anything is kept."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from server.errors import UploadError
from server.packing.season_zip import FORMAT, HISTORY, MANIFEST, ROWS
from server.readers.zip_directory import directory_bytes
from server.readers.zip_folder import Budget, ZipLimits, check_collisions, check_kind, clean_path, shown

Progress = Callable[[float, str], None]
BLOCK_BYTES = 1 << 20
MOST_FILES, DIRECTORY_BYTES_PER_FILE = 500_000, 1024
MOST_MANIFEST_BYTES = 256 * 1024**2
RATIO = 200.0
HEX = frozenset("0123456789abcdef")
NO_SEASON = "{name} is no packed season: it holds no {manifest}. A single day is added on the page “Add a day”."
BAD_MANIFEST = "The {manifest} of {name} cannot be read, so nothing in it can be checked; nothing was unpacked."
NEWER = "{name} was packed by a newer Stillair (format {found}, this one reads {known}); unpack it with that one."
MISSING = "{name} lacks {path}, which its manifest lists{more}; nothing was unpacked."
EXTRA = "{name} holds {path}, which its manifest does not list{more}; nothing was unpacked."
TAMPERED = "{path} in {name} is not the file that was packed, its SHA-256 is another one; nothing was unpacked."
NO_ROOM = "{name} unpacks to {size:,.0f} MB and the disk has room for {free:,.0f} MB; nothing was unpacked."


@dataclass(frozen=True, slots=True)
class Unpacked:
    """A season whose every file is the one that was packed. at: SHA-256 → the file in the folder."""

    name: str
    folder: Path
    manifest: Mapping[str, Any]
    at: Mapping[str, Path]

    def rows(self) -> Iterator[dict[str, Any]]:
        """Every row, as its line has it."""
        yield from _lines(self.folder / ROWS)

    def events(self) -> Iterator[dict[str, Any]]:
        """Every event, as its line has it."""
        yield from _lines(self.folder / HISTORY)


def _lines(file: Path) -> Iterator[dict[str, Any]]:
    with file.open(encoding="utf-8") as lines:
        for line in lines:
            yield json.loads(line)


def read_unpacked(folder: Path, name: str) -> Unpacked:
    """What `unpack` left in a folder, which nobody else has written to since."""
    text = (folder / MANIFEST).read_bytes()
    manifest = json.loads(text)
    at = {hashlib.sha256(text).hexdigest(): folder / MANIFEST}
    for path, one in manifest["files"].items():
        at.setdefault(one["sha256"], folder / path)
    return Unpacked(name, folder, manifest, at)


def unpack(file: Path, folder: Path, progress: Progress) -> Unpacked:
    """Take a packed season apart into an empty folder. Raises UploadError, one sentence, for whatever is wrong."""
    called = file.name
    try:
        if directory_bytes(file, large=True) > MOST_FILES * DIRECTORY_BYTES_PER_FILE:
            raise UploadError(f"{called} lists more than {MOST_FILES:,} files.")
        with zipfile.ZipFile(file) as bundle:
            return _unpack(bundle, folder, called, progress)
    except (zipfile.BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, ValueError) as error:
        raise UploadError(f"{called} is no zip that can be read ({str(error).rstrip('.')}).") from error


def _unpack(bundle: zipfile.ZipFile, folder: Path, name: str, progress: Progress) -> Unpacked:
    members = _members(bundle, name)
    text, manifest = _manifest(bundle, members, name)
    files: dict[str, dict[str, Any]] = manifest["files"]
    _check_names(set(members) - {MANIFEST}, set(files), name)
    total = sum(one["bytes"] for one in files.values())
    free = shutil.disk_usage(folder).free
    if total > free:
        raise UploadError(NO_ROOM.format(name=name, size=total / 1e6, free=free / 1e6))
    (folder / MANIFEST).write_bytes(text)
    budget, done = Budget(name, ZipLimits(MOST_FILES, total, RATIO)), 0
    for path, one in files.items():
        progress(0.9 * done / max(1, total), "every file against the manifest")
        target = folder / path
        _write(bundle, members[path], target, budget=budget, told=one, named=(path, name))
        done += one["bytes"]
    return read_unpacked(folder, name)


def _members(bundle: zipfile.ZipFile, name: str) -> dict[str, zipfile.ZipInfo]:
    """Path → entry; raises UploadError for paths that leave the folder, links, and what is there twice."""
    members: dict[str, zipfile.ZipInfo] = {}
    for member in bundle.infolist():
        path = clean_path(name, member, anywhere=os.name == "nt")  # days came from folders of this kind of system, too
        if path is None or member.is_dir():
            continue
        check_kind(name, member)
        if str(path) in members:
            raise UploadError(f"{name} holds {shown(str(path))} twice.")
        members[str(path)] = member
    check_collisions(name, [PurePosixPath(path) for path in members])
    return members


def _manifest(
    bundle: zipfile.ZipFile, members: Mapping[str, zipfile.ZipInfo], name: str
) -> tuple[bytes, dict[str, Any]]:
    if MANIFEST not in members:
        raise UploadError(NO_SEASON.format(name=name, manifest=MANIFEST))
    bad = UploadError(BAD_MANIFEST.format(manifest=MANIFEST, name=name))
    with bundle.open(members[MANIFEST]) as stream:
        text = stream.read(MOST_MANIFEST_BYTES + 1)
    try:
        manifest = json.loads(text) if len(text) <= MOST_MANIFEST_BYTES else None
    except ValueError as error:
        raise bad from error
    if not isinstance(manifest, dict) or "format" not in manifest:
        raise bad
    if manifest["format"] != FORMAT:
        raise UploadError(NEWER.format(name=name, found=manifest["format"], known=FORMAT))
    files = manifest.get("files")
    if not isinstance(files, dict) or not {ROWS, HISTORY} <= set(files) or not all(map(_is_told, files.values())):
        raise bad
    return text, manifest


def _is_told(one: Any) -> bool:
    """Whether a file's line in the manifest can be one."""
    if not isinstance(one, dict) or set(one) != {"sha256", "bytes"}:
        return False
    sha256, size = one["sha256"], one["bytes"]
    return isinstance(sha256, str) and len(sha256) == 64 and set(sha256) <= HEX and isinstance(size, int) and size >= 0


def _check_names(there: set[str], told: set[str], name: str) -> None:
    for words, found in ((MISSING, told - there), (EXTRA, there - told)):
        if found:
            more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
            raise UploadError(words.format(name=name, path=shown(min(found)), more=more))


def _write(
    bundle: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path, *,
    budget: Budget, told: Mapping[str, Any], named: tuple[str, str],
) -> None:  # fmt: skip
    path, name = named
    target.parent.mkdir(parents=True, exist_ok=True)
    budget.begin(member)
    seal, size = hashlib.sha256(), 0
    wrong = UploadError(TAMPERED.format(path=shown(path), name=name))
    try:
        with bundle.open(member) as packed, target.open("xb") as file:
            while block := packed.read(BLOCK_BYTES):
                size += len(block)
                if size > told["bytes"]:
                    raise wrong
                budget.spend(len(block))
                seal.update(block)
                file.write(block)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise wrong from error
    if size != told["bytes"] or seal.hexdigest() != told["sha256"]:
        raise wrong
