"""Raw files: the bytes that came, under the hash that the standard gives."""

from __future__ import annotations

from pathlib import Path

import pytest

from server.archive import raw_files
from server.archive.archive import Archive
from server.archive.raw_files import RawStore, sha256_of
from server.errors import NotFoundError, StillairError

# FIPS 180-4 example computations: SHA-256 of "abc" and of the 448-bit message.
PUBLISHED = {
    b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
}


@pytest.mark.parametrize("content", PUBLISHED)
def test_files_lie_under_their_published_hash(tmp_path: Path, content: bytes) -> None:
    archive = Archive(tmp_path / "data")
    archive.open()
    source = tmp_path / "source"
    source.write_bytes(content)
    for _ in range(2):
        with archive.database.writing() as session:
            kept = archive.raw.add(session, source)
            assert (kept.sha256, kept.size_bytes) == (PUBLISHED[content], len(content))
    assert archive.raw.path(PUBLISHED[content]).read_bytes() == content
    assert sha256_of(archive.raw.path(PUBLISHED[content])) == PUBLISHED[content]
    assert len([file for file in (tmp_path / "data/raw").rglob("*") if file.is_file()]) == 1
    archive.close()


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "A" * 64, "0" * 64])
def test_what_is_no_hash_or_is_not_kept_is_said_so(tmp_path: Path, name: str) -> None:
    with pytest.raises(NotFoundError):
        RawStore(tmp_path).path(name)


def test_a_file_that_is_written_to_meanwhile_is_not_kept_under_a_hash_that_is_not_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a log that still comes off a card into the folder that is imported."""
    archive = Archive(tmp_path / "data")
    archive.open()
    log = tmp_path / "run01.csv"
    log.write_text("t,v\n0,30\n")

    def then_written_to(file: Path) -> str:
        digest = sha256_of(file)
        log.write_text("t,v\n0,30\n1,29\n")
        return digest

    monkeypatch.setattr(raw_files, "sha256_of", then_written_to)
    with pytest.raises(StillairError, match=r"run01\.csv was changed while"), archive.database.writing() as session:
        archive.raw.add(session, log)
    assert not [one for one in archive.raw.folder.rglob("*") if one.is_file()]
    archive.close()
