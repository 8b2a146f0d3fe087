"""Damaged logs: whatever a byte becomes, a sound log or one LogError comes out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from server.errors import LogError
from server.readers import open_log
from tests.readers.logs import is_sound


def damaged(data: bytes, count: int, seed: int = 7) -> Iterator[bytes]:
    """`count` copies of a file, each with bytes changed, taken out or cut off."""
    rng = np.random.default_rng(seed)
    for number in range(count):
        edited = bytearray(data)
        if number % 3 == 0:
            del edited[int(rng.integers(0, len(edited))) :]
        for _ in range(int(rng.integers(1, 6))):
            if not edited:
                break
            place = int(rng.integers(0, len(edited)))
            if number % 3 == 1:
                edited[place] ^= 1 << int(rng.integers(0, 8))
            else:
                edited[place : place + int(rng.integers(0, 8))] = rng.bytes(int(rng.integers(0, 8)))
        yield bytes(edited)


def reads_or_refuses(path: Path, signals: Path | None = None) -> bool:
    """Read a log; whether it could be, after checking that what came out is sound."""
    try:
        raw = open_log(path, signals=signals)
    except LogError as error:
        sentence = str(error)
        assert path.name in sentence or (signals is not None and signals.name in sentence)
        assert sentence.endswith(".")
        assert "\n" not in sentence
        return False
    assert raw.channels
    assert is_sound(raw)
    return True
