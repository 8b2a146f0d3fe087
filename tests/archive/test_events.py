"""The chain of events: sealed, in order, refused to be altered; any altered byte is found."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from server.archive.archive import Archive
from server.archive.events import FIRST, SEALED, canonical, chain_faults, head, record
from server.archive.tables import Event
from tests.archive.altering import alter


@pytest.fixture
def archive(tmp_path: Path):  # type: ignore[no-untyped-def]
    made = Archive(tmp_path)
    made.open()
    with made.database.writing() as session:
        for number in range(5):
            record(
                session,
                who="Ada",
                kind="mass-changed",
                subject="car",
                day_id=1,
                before=number,
                after={"b": 1, "a": "ü"},
            )
    yield made
    made.close()


def faults(archive: Archive) -> list[str]:
    with archive.database.reading() as session:
        return [fault.text for fault in chain_faults(session)]


def test_sha256_is_that_of_the_standard() -> None:
    """FIPS 180-4 example (NIST, SHA256.pdf): "abc"."""
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(b"abc").hexdigest() == digest


@pytest.mark.usefixtures("engine")
def test_the_chain_holds(archive: Archive) -> None:
    assert faults(archive) == []
    with archive.database.reading() as session:
        first, last = session.get(Event, 1), session.get(Event, 5)
        assert first is not None
        assert last is not None
        assert first.previous_sha256 == FIRST
        assert head(session) == (5, last.sha256)
        assert first.after == '{"a":"ü","b":1}'


def test_canonical_json_is_one_text() -> None:
    assert canonical({"b": [1, 2.5], "a": None}) == '{"a":null,"b":[1,2.5]}'
    with pytest.raises(ValueError, match="JSON"):
        canonical(float("nan"))


@pytest.mark.usefixtures("engine")
@pytest.mark.parametrize("sentence", ["UPDATE events SET who = 'Eve' WHERE id = 2", "DELETE FROM events WHERE id = 5"])
def test_the_database_refuses(archive: Archive, sentence: str) -> None:
    with pytest.raises(IntegrityError, match="never altered"), archive.database.writing() as session:
        session.execute(text(sentence))
    assert faults(archive) == []


@pytest.mark.parametrize("column", [*SEALED[1:4], *SEALED[5:], "sha256"])
@pytest.mark.parametrize("number", [1, 3, 5])
def test_an_altered_column_is_found(archive: Archive, column: str, number: int) -> None:
    alter(archive.folder, f"UPDATE events SET {column} = {column} || 'x' WHERE id = {number}")
    assert any(f"event {number}" in fault for fault in faults(archive))


@pytest.mark.usefixtures("engine")
def test_a_missing_event_is_found(archive: Archive) -> None:
    alter(archive.folder, "DELETE FROM events WHERE id = 3")
    assert any("event 3 is missing" in fault for fault in faults(archive))
