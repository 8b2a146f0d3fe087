"""Raw files, uploads and samples: are their bytes those that were kept?"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.raw_files import RawStore
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import RawFile
from server.errors import StillairError
from server.history.verify_events import RECEIVED, Told, after_of
from server.history.verify_rows import guarded
from server.uploads.parts import Parts
from server.uploads.service import RECEIVED as HAS_COME_IN
from server.uploads.tables import Upload

Progress = Callable[[float, str], None]


def raw_faults(session: Session, raw: RawStore, progress: Progress) -> Iterator[str]:
    """Files whose bytes are not those that were kept."""
    rows = session.execute(select(RawFile.sha256, RawFile.size_bytes).order_by(RawFile.sha256)).all()
    total, done = sum(size for _, size in rows) or 1, 0
    for sha256, size in rows:
        progress(0.05 + 0.65 * done / total, "raw files")
        done += size
        try:
            there, found = raw.looked_at(sha256)
            if there != size:
                yield f"Raw file {sha256}: has {there} bytes, {size} were kept."
            if found != sha256:
                yield f"Raw file {sha256}: its bytes are not those that were kept; they have the SHA-256 {found}."
        except (StillairError, OSError) as error:
            yield f"Raw file {sha256}: cannot be read ({error})."


def upload_faults(archive: ReadOnlyArchive, session: Session, told: Told) -> Iterator[str]:
    """Uploads that name no raw file or another one, or of which less is there than was acknowledged."""
    events: dict[object, list[str]] = {}
    for event in (one for one in told.events if one.kind == RECEIVED):
        after = after_of(event)
        events.setdefault(after.get("upload"), []).append(str(after.get("sha256")))
    for number in session.scalars(select(Upload.id).order_by(Upload.id)).all():
        named = f"Upload {number}"
        yield from guarded(session, named, _one_upload(archive, session, number, events.get(number, [])))


def _one_upload(archive: ReadOnlyArchive, session: Session, number: str, told: list[str]) -> Iterator[str]:
    upload = session.get_one(Upload, number)
    named = f"Upload {number} ({upload.name})"
    if upload.state != HAS_COME_IN:
        yield from _part_faults(archive, upload, named)
        return
    kept = session.get(RawFile, upload.sha256) if upload.sha256 else None
    if kept is None:
        yield f"{named}: has come in, but its raw file is not kept."
    elif not kept.size_bytes == upload.size_bytes == upload.received_bytes:
        yield (
            f"{named}: {upload.size_bytes} bytes were announced and {upload.received_bytes} came in, "
            f"its raw file has {kept.size_bytes}."
        )
    if told != [upload.sha256]:
        yield f"{named}: {len(told)} events tell of it, one should, and of the same bytes."


def _part_faults(archive: ReadOnlyArchive, upload: Upload, named: str) -> Iterator[str]:
    there = Parts(archive.uploads).size(upload.id)
    if there >= upload.received_bytes or _went_on(archive, upload):
        return
    yield f"{named}: {upload.received_bytes} bytes of it were acknowledged, {there} are there."


def _went_on(archive: ReadOnlyArchive, upload: Upload) -> bool:
    """Beside a running server an upload may end while one looks."""
    with archive.database.reading() as now:
        row = now.get(Upload, upload.id)
        return row is None or row.state != upload.state


def sample_faults(archive: ReadOnlyArchive) -> Iterator[str]:
    """Samples that are not as they were written; without the file there are none to look at."""
    try:
        if not archive.samples.exists():
            return
        hashes = archive.samples.hashes()
        with archive.database.reading() as session:  # after the samples: a raw file is kept before its samples are
            kept = set(session.scalars(select(RawFile.sha256)))
        yield from archive.samples.loose_ends()
    except StillairError as error:
        yield f"Samples: {error}"
        return
    for sha256 in hashes:
        if sha256 not in kept:
            yield f"Samples of {sha256}: the archive holds no raw file of that name."
        try:
            yield from (f"Samples of {sha256}: {fault}" for fault in archive.samples.verify(sha256))
        except StillairError as error:
            yield f"Samples of {sha256}: {error}"
