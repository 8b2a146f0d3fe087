"""A test-day folder sent as a zip, unpacked without trusting the zip."""

from __future__ import annotations

import errno
import shutil
import stat
import struct
import tempfile
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, BinaryIO

from server.errors import UploadError
from server.readers.zip_directory import directory_bytes
from server.testday.inner_paths import leaves_folder

DAY_FILE = "testday.toml"
_JUNK_FOLDERS = ("__MACOSX",)
_JUNK_FILES = (".DS_Store", "Thumbs.db", "desktop.ini")
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DEVICE_NAMES = ("CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10)))
_FORBIDDEN = frozenset('<>:"|?*')
LONGEST_NAME = 255  # bytes
_CHUNK = 1 << 20
_DIRECTORY_BYTES_PER_FILE = 1024


@dataclass(frozen=True, slots=True)
class ZipLimits:
    """What a zipped day may hold: files, bytes unpacked, and how far its bytes may be compressed."""

    files: int = 2_000
    total_bytes: int = 4 * 1024**3
    ratio: float = 200.0
    ratio_free_bytes: int = 10 * 1024**2


DEFAULT_LIMITS = ZipLimits()


def unpack_day_zip(data: Path | BinaryIO, into: Path, limits: ZipLimits = DEFAULT_LIMITS) -> Path:
    """Unpack a zipped day folder and return the folder, inside `into`, that holds testday.toml.

    data: the zip, as a path or an open file. The day may lie at the zip's top or in one folder of it;
    what systems leave beside it is passed over. Raises UploadError (one sentence) for what is no zip, is
    encrypted, names a place outside, holds links, is over a limit, or holds no day or several; then
    nothing is left behind.
    """
    name = data.name if isinstance(data, Path) else "the zip"
    new = not into.exists()
    into.mkdir(parents=True, exist_ok=True)
    scratch = Path(tempfile.mkdtemp(prefix=".unpack-", dir=into))
    try:
        day = _unpack(data, name, scratch, limits)
        target = into / (day.name if day != scratch else _folder_name(data))
        if target.exists():
            raise UploadError(f"{name} unpacks to the folder {target.name}, which is there already.")
        return day.rename(target)
    except BaseException:
        shutil.rmtree(into if new else scratch, ignore_errors=True)
        raise
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _unpack(data: Path | BinaryIO, name: str, scratch: Path, limits: ZipLimits) -> Path:
    try:
        if directory_bytes(data) > limits.files * _DIRECTORY_BYTES_PER_FILE:
            raise UploadError(f"{name} lists more than {limits.files:,} files.")
        with zipfile.ZipFile(data) as bundle:
            members = _members(bundle, name, limits)
            top = _day_top(name, members)
            budget = Budget(name, limits)
            for path, member in members.items():
                if path.is_relative_to(top):
                    _write_member(bundle, member, scratch / path, budget)
            return scratch / top
    except (zipfile.BadZipFile, zlib.error, struct.error, EOFError, NotImplementedError, ValueError) as error:
        raise UploadError(f"{name} is no zip that can be read ({str(error).rstrip('.')}).") from error
    except OSError as error:
        if error.errno != errno.EINVAL:
            raise
        raise UploadError(f"{name} is no zip that can be read (it names a place before its start).") from error


def _members(bundle: zipfile.ZipFile, name: str, limits: ZipLimits) -> dict[PurePosixPath, zipfile.ZipInfo]:
    """Return the zip's files by their clean paths, junk left out; refuse any that is not a plain file."""
    members: dict[PurePosixPath, zipfile.ZipInfo] = {}
    for member in bundle.infolist():
        path = clean_path(name, member)
        if path is None or _is_junk(path) or member.is_dir():
            continue
        check_kind(name, member)
        if path in members:
            raise UploadError(f"{name} holds {shown(str(path))} twice.")
        members[path] = member
        if len(members) > limits.files:
            raise UploadError(f"{name} holds more than {limits.files:,} files.")
    check_collisions(name, list(members))
    if sum(member.file_size for member in members.values()) > limits.total_bytes:
        raise UploadError(f"{name} unpacks to more than {limits.total_bytes / 1e6:,.0f} MB.")
    return members


def clean_path(name: str, member: zipfile.ZipInfo, *, anywhere: bool = True) -> PurePosixPath | None:
    """The path of a zip's entry; None for an empty one. Raises UploadError where it leaves its folder.

    anywhere: it must be one that every system can store, not this one alone.
    """
    written = member.orig_filename.replace("\\", "/")
    path = PurePosixPath(written)
    if (path.parts and leaves_folder(written)) or (anywhere and written[1:2] == ":"):
        raise UploadError(f"{name} holds the path {shown(written)}, which leaves its folder.")
    if any(_is_bad_name(part) if anywhere else len(part.encode()) > LONGEST_NAME for part in path.parts):
        raise UploadError(f"{name} holds the name {shown(written)}, which not every system can store.")
    return path if path.parts else None


def _is_bad_name(part: str) -> bool:
    reserved = part.partition(".")[0].strip().upper() in _DEVICE_NAMES
    odd = any(ord(letter) < 32 or letter in _FORBIDDEN for letter in part)
    return reserved or odd or len(part.encode()) > LONGEST_NAME or part != part.rstrip(". ")


def _is_junk(path: PurePosixPath) -> bool:
    return path.parts[0] in _JUNK_FOLDERS or path.name in _JUNK_FILES or path.name.startswith("._")


def check_kind(name: str, member: zipfile.ZipInfo) -> None:
    """Raises UploadError for what is no plain file, packed as everybody packs."""
    mode = member.external_attr >> 16
    if stat.S_IFMT(mode) not in (0, stat.S_IFREG):
        raise UploadError(f"{name} holds {shown(member.filename)}, which is a link and not a file.")
    if member.flag_bits & 0x1:
        raise UploadError(f"{name} is encrypted; save it without a password.")
    if member.compress_type not in _METHODS:
        raise UploadError(f"{name} is packed in a way not read here; save it as an ordinary (deflate) zip.")


def check_collisions(name: str, paths: list[PurePosixPath]) -> None:
    """Refuse two entries that would be one file, or a file where another entry needs a folder."""
    files = [str(path).casefold() for path in paths]
    taken = set(files)
    folders = {str(parent).casefold() for path in paths for parent in path.parents}
    if len(taken) < len(files) or taken & folders:
        twice = next(
            path for path in paths if str(path).casefold() in folders or files.count(str(path).casefold()) > 1
        )
        raise UploadError(f"{name} holds {shown(str(twice))} twice.")


def _day_top(name: str, members: dict[PurePosixPath, zipfile.ZipInfo]) -> PurePosixPath:
    """Return the zip's folder that holds the only testday.toml: its top, or one folder down."""
    tops = sorted(path.parent for path in members if path.name == DAY_FILE)
    if not tops:
        raise UploadError(f"{name} holds no {DAY_FILE}; zip the test-day folder with that file in it.")
    if len(tops) > 1:
        where = ", ".join(shown(str(top)) for top in tops[:3])
        raise UploadError(f"{name} holds {len(tops)} test days ({where}); zip one at a time.")
    if len(tops[0].parts) > 1:
        raise UploadError(f"{name} holds its {DAY_FILE} {len(tops[0].parts)} folders down; one is the most.")
    return tops[0]


class Budget:
    """Counts what is really unpacked: the sizes that a zip states need not be true."""

    def __init__(self, name: str, limits: ZipLimits) -> None:
        self._name = name
        self._limits = limits
        self._packed = 0
        self._unpacked = 0

    def begin(self, member: zipfile.ZipInfo) -> None:
        """Count a member's packed bytes."""
        self._packed += member.compress_size

    def spend(self, count: int) -> None:
        """Count unpacked bytes; refuse more than the limits allow."""
        self._unpacked += count
        if self._unpacked > self._limits.total_bytes:
            raise UploadError(f"{self._name} unpacks to more than {self._limits.total_bytes / 1e6:,.0f} MB.")
        if self._unpacked > self._limits.ratio_free_bytes + self._limits.ratio * self._packed:
            ratio = f"{self._limits.ratio:,.0f} times"
            raise UploadError(f"{self._name} unpacks to more than {ratio} its size, as no log does.")


def _write_member(bundle: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path, budget: Budget) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    budget.begin(member)
    with bundle.open(member) as packed, target.open("xb") as file:
        _copy(packed, file, budget)


def _copy(packed: IO[bytes], file: IO[bytes], budget: Budget) -> None:
    while chunk := packed.read(_CHUNK):
        budget.spend(len(chunk))
        file.write(chunk)


def _folder_name(data: Path | BinaryIO) -> str:
    stem = data.stem.strip(". ") if isinstance(data, Path) else ""
    return stem or "test day"


def shown(text: str) -> str:
    """A name from a zip, safe to print."""
    printable = "".join(letter if letter.isprintable() else "?" for letter in text)
    return repr(printable if len(printable) <= 80 else printable[:80] + "…")
