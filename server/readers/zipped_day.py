"""A test-day folder that came as a zip: unpacked into a scratch folder, and found in it."""

from __future__ import annotations

import zipfile
from pathlib import Path, PurePosixPath

from server.errors import UploadError

DAY_FILE = "testday.toml"
FILES_AT_MOST = 10_000
BYTES_AT_MOST = 4 * 1024**3


def unpack_day(archive: Path, scratch: Path) -> Path:
    """Unpack a zip into the empty folder `scratch` and return the folder in it that holds testday.toml.

    Raises UploadError when it is no zip, is encrypted or too large, holds a path that leaves the folder,
    or holds no test day or more than one.
    """
    try:
        with zipfile.ZipFile(archive) as bundle:
            members = [member for member in bundle.infolist() if not member.is_dir()]
            _check(archive.name, members)
            for member in members:
                bundle.extract(member, scratch)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, zipfile.zlib.error) as error:
        raise UploadError(f"{archive.name} is not a zip that can be read: {error}.") from error
    return _day_folder(archive.name, scratch)


def _check(name: str, members: list[zipfile.ZipInfo]) -> None:
    """Refuse what would harm before anything is written."""
    size = sum(member.file_size for member in members)
    if len(members) > FILES_AT_MOST or size > BYTES_AT_MOST:
        raise UploadError(
            f"{name} holds {len(members)} files of {size / 1e6:.0f} MB together; at most "
            f"{FILES_AT_MOST} files and {BYTES_AT_MOST / 1e6:.0f} MB are unpacked."
        )
    for member in members:
        path = PurePosixPath(member.filename.replace("\\", "/"))
        if path.is_absolute() or ".." in path.parts or ":" in path.parts[0]:
            raise UploadError(f"{name} holds the path {member.filename}, which leaves its folder.")
        if member.flag_bits & 0x1:
            raise UploadError(f"{name} is encrypted; save it without a password.")


def _day_folder(name: str, scratch: Path) -> Path:
    """The folder of the only testday.toml; the copies that some systems add are left aside."""
    found = [file for file in scratch.rglob(DAY_FILE) if "__MACOSX" not in file.parts]
    if not found:
        raise UploadError(f"{name} holds no {DAY_FILE}; zip the test-day folder with that file in it.")
    if len(found) > 1:
        places = ", ".join(sorted(str(file.parent.relative_to(scratch)) for file in found)[:3])
        raise UploadError(f"{name} holds {len(found)} test days ({places}); zip one at a time.")
    return found[0].parent
