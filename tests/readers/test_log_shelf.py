"""Logs kept in memory: read once by what their bytes are, never written to, no more than there is room for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from server.readers import log_shelf
from server.readers.log_shelf import LogShelf

LOG = "time [s];speed [m/s]\n" + "\n".join(f"{0.1 * k:.1f};{30.0 - 0.1 * k:.1f}" for k in range(50)) + "\n"
HASHES = {"logs/a.csv": "a1", "logs/b.csv": "b1"}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "logs").mkdir()
    for name in HASHES:
        (tmp_path / name).write_text(LOG)
    real, reads = log_shelf.open_log, tmp_path / "reads"

    def counted(path: Path, **how: object) -> object:
        with reads.open("a") as noted:
            noted.write(f"{path.name}\n")
        return real(path, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(log_shelf, "open_log", counted)
    return tmp_path


def reads(folder: Path) -> list[str]:
    return (folder / "reads").read_text().split()


def test_the_same_bytes_are_read_once_and_others_anew(folder: Path) -> None:
    shelf = LogShelf()
    first = shelf.open(folder, HASHES, "logs/a.csv", None, None)
    assert shelf.open(folder, dict(HASHES), "logs/a.csv", None, None) is first
    (folder / "logs/a.csv").write_text(LOG.replace("30.0", "31.0"))
    changed = shelf.open(folder, HASHES | {"logs/a.csv": "a2"}, "logs/a.csv", None, None)
    assert changed.channels[0].values[0] == 31.0
    shelf.open(folder, HASHES, "logs/a.csv", "time [s]", None)  # another word on its time
    assert reads(folder) == ["a.csv"] * 3


def test_what_is_kept_cannot_be_written_to(folder: Path) -> None:
    log = LogShelf().open(folder, HASHES, "logs/a.csv", None, None)
    with pytest.raises(ValueError, match="read-only"):
        log.channels[0].values[0] = 0.0
    assert np.all(np.diff(log.channels[0].time_s) > 0)


def test_the_least_used_gives_way_and_unknown_bytes_are_not_kept(folder: Path) -> None:
    one = 2 * 50 * 8
    shelf = LogShelf(most_bytes=int(1.5 * one))
    for name in ("logs/a.csv", "logs/b.csv", "logs/b.csv", "logs/a.csv"):
        shelf.open(folder, HASHES, name, None, None)
    assert reads(folder) == ["a.csv", "b.csv", "a.csv"]
    for _ in range(2):
        shelf.open(folder, {}, "logs/b.csv", None, None)
    assert reads(folder)[3:] == ["b.csv", "b.csv"]
    small = LogShelf(most_bytes=one - 1)
    for _ in range(2):
        small.open(folder, HASHES, "logs/a.csv", None, None)
    assert reads(folder)[5:] == ["a.csv", "a.csv"]
