"""Signals of many frames at once, by bit arithmetic on their bytes.

A signal's raw number is put together byte by byte for all frames, then scaled. Bits are numbered as in signal
databases: bit b of byte B is 8 B + b; `start` is the least significant bit of a little-endian signal and the most
significant one of a big-endian signal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from server.testday.values import FloatArray

if TYPE_CHECKING:
    from cantools.database.can import Message, Signal

MAX_BITS = 64
_FLOATS = {16: (np.uint16, np.float16), 32: (np.uint32, np.float32), 64: (np.uint64, np.float64)}


@dataclass(frozen=True, slots=True)
class Piece:
    """Bits [low, low + count) of a byte that are bits [place, place + count) of a number."""

    byte: int
    low: int
    count: int
    place: int


def pieces(start: int, length: int, little_endian: bool) -> list[Piece]:
    """Cut a signal into the parts that lie in one byte each."""
    found: list[Piece] = []
    if little_endian:
        done = 0
        while done < length:
            byte, low = divmod(start + done, 8)
            count = min(8 - low, length - done)
            found.append(Piece(byte, low, count, done))
            done += count
        return found
    byte, high, left = start // 8, start % 8, length
    while left:
        count = min(high + 1, left)
        left -= count
        found.append(Piece(byte, high + 1 - count, count, left))
        byte, high = byte + 1, 7
    return found


def raw_numbers(data: NDArray[np.uint8], signal: Signal) -> NDArray[np.generic]:
    """Return a signal's raw numbers, shape (n,), from the bytes of n frames, shape (n, width)."""
    total = np.zeros(len(data), dtype=np.uint64)
    for part in pieces(signal.start, signal.length, signal.byte_order == "little_endian"):
        bits = (data[:, part.byte] >> np.uint8(part.low)) & np.uint8((1 << part.count) - 1)
        total |= bits.astype(np.uint64) << np.uint64(part.place)
    if signal.conversion.is_float:
        whole, real = _FLOATS[signal.length]
        return total.astype(whole).view(real)
    if not signal.is_signed:
        return total
    unused = np.uint64(64 - signal.length)
    return (total << unused).view(np.int64) >> np.int64(unused)


def needed_bytes(signal: Signal) -> int:
    """Number of bytes that a frame must have to hold a signal."""
    return 1 + max(part.byte for part in pieces(signal.start, signal.length, signal.byte_order == "little_endian"))


def is_decodable(signal: Signal) -> bool:
    """Whether a signal is a number that can be had: up to 64 bits, floating ones of 16, 32 or 64."""
    fits = 0 < signal.length <= MAX_BITS and signal.start >= 0
    return fits and (not signal.conversion.is_float or signal.length in _FLOATS)


def decode(
    message: Message, data: NDArray[np.uint8], lengths: NDArray[np.int64]
) -> dict[str, tuple[FloatArray, int]]:
    """Decode all signals of n frames of a message: signal → scaled values, and how many frames were too short.

    data: shape (n, width) with width at least what the signals need; lengths: bytes that each frame has.
    Values are NaN in frames that end before the signal or whose multiplexer selects others. Value tables stay
    numbers: scale · raw + offset.
    """
    signals = {signal.name: signal for signal in message.signals if is_decodable(signal)}
    raw: dict[str, NDArray[np.generic]] = {}
    found: dict[str, tuple[FloatArray, int]] = {}
    for name, signal in signals.items():
        selected = _selected(signal, signals, raw, data)
        long_enough = lengths >= needed_bytes(signal)
        with np.errstate(all="ignore"):  # any bits may come in, such as those of infinity
            numbers = _raw(signal, raw, data).astype(np.float64)
            values = numbers * float(signal.conversion.scale) + float(signal.conversion.offset)
        short = int(np.count_nonzero(selected & ~long_enough))
        found[name] = np.where(selected & long_enough, values, np.nan), short
    return found


def _raw(signal: Signal, raw: dict[str, NDArray[np.generic]], data: NDArray[np.uint8]) -> NDArray[np.generic]:
    if signal.name not in raw:
        raw[signal.name] = raw_numbers(data, signal)
    return raw[signal.name]


def _selected(
    signal: Signal, signals: dict[str, Signal], raw: dict[str, NDArray[np.generic]], data: NDArray[np.uint8]
) -> NDArray[np.bool_]:
    """Which frames carry a signal, by its multiplexer and those above it."""
    selected = np.ones(len(data), dtype=bool)
    seen = set()
    while signal.multiplexer_ids is not None and signal.multiplexer_signal in signals:
        if signal.name in seen:  # a circle of multiplexers
            return np.zeros(len(data), dtype=bool)
        seen.add(signal.name)
        above = signals[signal.multiplexer_signal]
        selected &= np.isin(_raw(above, raw, data), np.array(signal.multiplexer_ids))
        signal = above
    return selected
