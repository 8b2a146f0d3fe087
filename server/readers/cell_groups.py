"""The named groups of a regular expression in many cells at once.

A first cell is matched by the expression; all cells that have its length and its marks in the same places
are then read by digit arithmetic. What differs starts the next round.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.testday.values import FloatArray

WordArray = NDArray[np.object_]
_ROUNDS = 200


@dataclass(frozen=True, slots=True)
class Parsed:
    """Named groups of n cells: numbers, NaN where absent, and words, "" where absent; shapes (n,)."""

    numbers: dict[str, FloatArray]
    words: dict[str, WordArray]


def match_cells(texts: Sequence[str], pattern: re.Pattern[str], worded: Collection[str]) -> Parsed:
    """Match cells with a pattern; its groups become numbers, those named in `worded` stay words.

    A group called "fraction" becomes the number behind the decimal mark.
    """
    count = len(texts)
    names = list(pattern.groupindex)
    numbers = {name: np.full(count, np.nan) for name in names if name not in worded}
    words = {name: np.full(count, "", dtype=object) for name in names if name in worded}
    stripped = [text.strip().strip('"').strip() for text in texts]
    codes = _codes(stripped)
    left = np.arange(count)
    for _ in range(_ROUNDS):
        if not len(left):
            break
        match = pattern.fullmatch(stripped[left[0]])
        if match is None:
            left = left[1:]
            continue
        alike = _alike(codes[left], stripped[left[0]], [match.span(name) for name in words])
        rows = left[alike]
        for name in names:
            start, stop = match.span(name)
            if start < 0:
                continue
            if name in words:
                words[name][rows] = match[name]
            else:
                numbers[name][rows] = _digits(codes[rows, start:stop], name)
        left = left[~alike]
    for row in left:
        _one_by_one(stripped[row], int(row), pattern, numbers, words)
    return Parsed(numbers, words)


def _codes(texts: Sequence[str]) -> NDArray[np.uint32]:
    """Code points of the cells, one a row, zeros behind the end."""
    array = np.asarray(texts, dtype=np.str_)
    width = max(array.dtype.itemsize // 4, 1)
    return np.ascontiguousarray(array, dtype=f"U{width}").view(np.uint32).reshape(len(texts), width)


def _alike(codes: NDArray[np.uint32], text: str, fixed: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    """Rows with digits where `text` has digits and its very marks elsewhere and in the `fixed` spans."""
    model = np.zeros(codes.shape[1], dtype=np.uint32)
    model[: len(text)] = [ord(char) for char in text]
    digit = (model >= 48) & (model <= 57)
    for start, stop in fixed:
        digit[max(start, 0) : max(stop, 0)] = False
    same = (codes[:, ~digit] == model[~digit]).all(axis=1)
    block = codes[:, digit]
    return np.asarray(same & ((block >= 48) & (block <= 57)).all(axis=1))


def _digits(block: NDArray[np.uint32], name: str) -> FloatArray:
    size = block.shape[1]
    value = np.zeros(len(block))
    for column in range(size):
        value = value * 10.0 + (block[:, column].astype(np.float64) - 48.0)
    return value / 10.0**size if name == "fraction" else value


def _one_by_one(
    text: str,
    row: int,
    pattern: re.Pattern[str],
    numbers: dict[str, FloatArray],
    words: dict[str, WordArray],
) -> None:
    match = pattern.fullmatch(text)
    for name, found in match.groupdict().items() if match else ():
        if found is None:
            continue
        if name in words:
            words[name][row] = found
        else:
            numbers[name][row] = int(found) / 10.0 ** len(found) if name == "fraction" else float(found)
