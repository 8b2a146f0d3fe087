"""Uploads: begun, continued, finished, given up; what has been acknowledged is on disk."""

from __future__ import annotations

import datetime as dt
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.archive.disk import disk_in_words
from server.archive.events import record
from server.archive.raw_files import sha256_of
from server.errors import NotFoundError, UploadError
from server.uploads.parts import Parts
from server.uploads.tables import Upload

KEPT_FOR = dt.timedelta(days=14)
RECEIVING, RECEIVED = "receiving", "received"
TOO_LARGE = "{name} has {size:.0f} MB; at most {limit:.0f} MB can be sent."
GONE = "No upload goes by that address."


class OffsetError(UploadError):
    """Bytes were sent for another place than the one where the upload stands."""


class TooLargeError(UploadError):
    """More bytes than may be, or than were announced."""


@dataclass(frozen=True, slots=True)
class HeldBy:
    """A test day that holds the same bytes, and under which path."""

    day_id: int
    name: str
    path: str


@dataclass(frozen=True, slots=True)
class SameAs:
    """Where the bytes of an upload were already: the upload that brought them, the days that hold them."""

    upload_id: str | None
    days: tuple[HeldBy, ...]


DaysHolding = Callable[[Session, str], tuple[HeldBy, ...]]


def received_upload(session: Session, upload_id: str) -> Upload:
    """An upload that has come in whole: its sha256 is a raw file. Raises UploadError, a sentence for a person."""
    upload = session.get(Upload, upload_id)
    if upload is None:
        raise UploadError("One of the files is no longer here; send it again.")
    if upload.state != RECEIVED:
        raise UploadError(f"{upload.name} is still coming in; wait until all of it is here.")
    return upload


class Uploads:
    """The uploads of an archive; safe to be called from many threads.

    The bytes of an upload are appended to its part. `received_bytes` of its row are those that are safe on disk;
    the row is written after them, so that a part may hold more than its row says, never less. What is more was
    not acknowledged; after a power cut its bytes need not be those that were sent, so it is let go.
    """

    def __init__(self, archive: Archive, limit_bytes: int, days_holding: DaysHolding) -> None:
        self.limit_bytes = limit_bytes
        self._archive, self._days_holding = archive, days_holding
        self._parts = Parts(archive.uploads)
        self._locks: dict[str, threading.Lock] = {}
        self._written: dict[str, int] = {}  # bytes of each part, safe or not yet

    def sweep(self) -> None:
        """At the start: let go of parts that nobody continued, and of those that belong to nothing."""
        with self._archive.database.writing() as session:
            open_ones = list(session.scalars(select(Upload).where(Upload.state == RECEIVING)))
            stale = [upload for upload in open_ones if upload.touched_at < now_utc() - KEPT_FOR]
            for upload in stale:
                session.delete(upload)
            going_on = {upload.id for upload in open_ones} - {upload.id for upload in stale}
        for upload_id in set(self._parts.names()) - going_on:
            self._parts.remove(upload_id)

    def begin(self, name: str, size_bytes: int, sent_metadata: str = "", who: str = "", device: str = "") -> Upload:
        """A new upload. Raises TooLargeError, DiskFullError."""
        if size_bytes > self.limit_bytes:
            sizes = {"size": size_bytes / 1e6, "limit": self.limit_bytes / 1e6}
            raise TooLargeError(TOO_LARGE.format(name=name, **sizes))
        self._parts.check_room(name, size_bytes)
        upload = Upload(
            id=secrets.token_hex(16),
            name=name,
            size_bytes=size_bytes,
            sent_metadata=sent_metadata,
            who=who,
            device=device,
        )
        with disk_in_words():
            self._parts.make(upload.id)
            try:
                with self._archive.database.writing() as session:
                    session.add(upload)
                    session.flush()
                    session.expunge(upload)
            except BaseException:
                self._parts.remove(upload.id)
                raise
        return self.settle(upload.id)

    def settle(self, upload_id: str) -> Upload:
        """Make safe what has been written, finish what is complete; gives the upload as it then stands.

        Raises NotFoundError.
        """
        with self._lock(upload_id), disk_in_words():
            upload = self._find(upload_id)
            if upload.state != RECEIVING:
                return upload
            written = self._stands_at(upload)
            if written != upload.received_bytes:
                self._parts.sync(upload_id)
                upload = self._note(upload_id, written)
            return self._finish(upload) if written == upload.size_bytes else upload

    def append(self, upload_id: str, offset: int, data: bytes) -> int:
        """Write bytes at the offset where the upload stands; gives the next offset. They are not yet safe.

        Raises OffsetError when it stands elsewhere, TooLargeError for more than was announced, DiskFullError.
        """
        with self._lock(upload_id), disk_in_words():
            upload = self._find(upload_id)
            at = self._stands_at(upload) if upload.state == RECEIVING else upload.received_bytes
            if offset != at:
                raise OffsetError(f"{upload.name} stands at byte {at}, not at {offset}.")
            if at + len(data) > upload.size_bytes:
                raise TooLargeError(f"{upload.name} was announced with {upload.size_bytes} bytes; more were sent.")
            if data:  # of a file without bytes there is no part: it is whole from the start
                self._parts.write(upload_id, at, data)
                self._written[upload_id] = at + len(data)
            return at + len(data)

    def drop(self, upload_id: str, who: str = "") -> None:
        """Give an upload up. Bytes that have come in whole stay in the archive; they are just no upload any more."""
        with self._lock(upload_id):
            with self._archive.database.writing() as session:
                upload = session.get(Upload, upload_id)
                if upload is None:
                    raise NotFoundError(GONE)
                if upload.state == RECEIVED:
                    record(session, who=who, kind="upload-dropped", subject=upload.name, before=_told(upload))
                session.delete(upload)
            self._forget(upload_id)

    def same_as(self, upload: Upload) -> SameAs | None:
        """Where the bytes of a received upload were before; None when they are new."""
        if upload.sha256 is None:
            return None
        earlier = (
            select(Upload.id)
            .where(Upload.sha256 == upload.sha256, Upload.id != upload.id, Upload.created_at <= upload.created_at)
            .order_by(Upload.created_at)
            .limit(1)
        )
        with self._archive.database.reading() as session:
            first, days = session.scalar(earlier), self._days_holding(session, upload.sha256)
        return SameAs(first, days) if first or days else None

    def _lock(self, upload_id: str) -> threading.Lock:
        return self._locks.setdefault(upload_id, threading.Lock())

    def _forget(self, upload_id: str) -> None:
        self._parts.remove(upload_id)
        self._written.pop(upload_id, None)

    def _find(self, upload_id: str) -> Upload:
        with self._archive.database.reading() as session:
            upload = session.get(Upload, upload_id)
            if upload is None:
                self._locks.pop(upload_id, None)
                raise NotFoundError(GONE)
            session.expunge(upload)
            return upload

    def _stands_at(self, upload: Upload) -> int:
        """Where the next byte goes; at the first look since the start, part and row are brought together."""
        if upload.id not in self._written:
            on_disk = self._parts.size(upload.id)
            at = min(on_disk, upload.received_bytes)
            if on_disk != at or on_disk == 0:
                self._parts.cut(upload.id, at)
            self._written[upload.id] = at
        return self._written[upload.id]

    def _note(self, upload_id: str, received_bytes: int) -> Upload:
        with self._archive.database.writing() as session:
            upload = session.get_one(Upload, upload_id)
            upload.received_bytes, upload.touched_at = received_bytes, now_utc()
            session.flush()
            session.expunge(upload)
            return upload

    def _finish(self, upload: Upload) -> Upload:
        """Hash, keep as a raw file, and say so: all in one transaction; only then the part is let go."""
        part = self._parts.path(upload.id)
        digest = sha256_of(part)
        self._archive.raw.bring(part, digest)
        with self._archive.database.writing() as session:
            done = session.get_one(Upload, upload.id)
            kept = self._archive.raw.add(session, part, digest, link=True)
            done.sha256, done.state, done.touched_at = kept.sha256, RECEIVED, now_utc()
            record(session, who=done.who, kind="file-received", subject=done.name, after=_told(done))
            session.flush()
            session.expunge(done)
        self._forget(upload.id)
        return done


def _told(upload: Upload) -> dict[str, object]:
    return {"upload": upload.id, "sha256": upload.sha256, "size_bytes": upload.size_bytes, "device": upload.device}
