"""A stretch of samples as bytes and back, equal to the last bit: whole decimals, f4 or f8, shuffled, compressed.

What a text log says to four places is a whole number over 10⁴; kept as that it is smaller than an f4 and loses nothing.
Where a value is no such decimal, f4 is taken if every value of the stretch survives it, else f8.
"""

from __future__ import annotations

import hashlib
import threading
from dataclasses import dataclass

import numpy as np
import zstandard
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

CHUNK_SAMPLES = 65_536
CODEC = "shuffle-zstd"
LEVEL = 1  # 3 takes two to four times as long for 5 % less
MOST_DIGITS = 9
MOST_EXACT = 2.0**53
_PROBE = 64
_SCALES = 10.0 ** np.arange(MOST_DIGITS + 1)
_NAN_BITS = np.array([np.nan]).view(np.int64)[0]
_MINUS_ZERO_BITS = np.array([-0.0]).view(np.int64)[0]
_of_thread = threading.local()
_DTYPES = ("<i4", "<i8", "<f4", "<f8")


class DamagedChunk(Exception):  # noqa: N818 - told on as a sentence that knows the channel
    """The bytes are not those that were written."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some samples as bytes. digits: decimal places of whole numbers, None for floats.

    sha256: hex, over n, codec, dtype and digits as well as over the bytes.
    """

    n: int
    codec: str
    dtype: str
    digits: int | None
    sha256: str
    data: bytes


def encode(values: FloatArray) -> Chunk:
    """The samples as a chunk; `decode` gives every bit back. values: shape (n,)."""
    numbers, digits = _smallest(np.ascontiguousarray(values, dtype="<f8"))
    dtype = numbers.dtype.str
    data = _compressor().compress(_shuffled(numbers))
    return Chunk(len(numbers), CODEC, dtype, digits, _digest(len(numbers), CODEC, dtype, digits, data), data)


def _compressor() -> zstandard.ZstdCompressor:
    """One of each thread: making one costs as much as a short stretch."""
    if not hasattr(_of_thread, "compressor"):
        _of_thread.compressor = zstandard.ZstdCompressor(level=LEVEL)
    return _of_thread.compressor  # type: ignore[no-any-return]


def decode(chunk: Chunk) -> FloatArray:
    """The samples, shape (n,). Raises DamagedChunk where the chunk is not as it was written."""
    if _digest(chunk.n, chunk.codec, chunk.dtype, chunk.digits, chunk.data) != chunk.sha256:
        raise DamagedChunk("its SHA-256 is another")
    if chunk.codec != CODEC or chunk.dtype not in _DTYPES:
        raise DamagedChunk(f"it is packed as {chunk.codec} {chunk.dtype}, which this version cannot read")
    numbers = _unshuffled(chunk)
    if chunk.digits is None:
        return numbers.astype(np.float64)
    values = numbers / 10.0**chunk.digits
    least = np.iinfo(numbers.dtype).min
    if numbers.size and numbers.min() <= least + 1:
        values[numbers == least] = np.nan
        values[numbers == least + 1] = -0.0
    return values


def _smallest(values: FloatArray) -> tuple[NDArray[np.generic], int | None]:
    with np.errstate(all="ignore"):
        decimals = _as_decimals(values)
        if decimals is not None:
            return decimals
        single = values.astype("<f4")
        same = single.astype("<f8").view(np.int64) == values.view(np.int64)
    return (single if same.all() else values), None


def _as_decimals(values: FloatArray) -> tuple[NDArray[np.generic], int] | None:
    """Whole numbers and places with whole / 10^places equal to the values bit for bit; None where there are none.

    A few values tell the places to try; those that a try got wrong are the next few.
    """
    bits = values.view(np.int64)
    probe = values[:: max(1, len(values) // _PROBE)]
    first = 0
    while (digits := _places(probe, first)) is not None:
        whole = values * _SCALES[digits]
        np.rint(whole, out=whole)  # in its place: fresh memory for every step costs more than the arithmetic
        good = (whole / _SCALES[digits]).view(np.int64) == bits
        if good.all():
            packed = _as_integers(whole, bits)
            return None if packed is None else (packed, digits)
        probe, first = values[~good][:_PROBE], digits + 1
    return None


def _places(probe: FloatArray, first: int) -> int | None:
    """The fewest decimal places, at least `first`, that give all of a few values bit for bit."""
    scales = _SCALES[first:, None]
    same = (np.rint(probe * scales) / scales).view(np.int64) == np.ascontiguousarray(probe).view(np.int64)
    exact = np.flatnonzero(same.all(axis=1))
    return first + int(exact[0]) if len(exact) else None


def _as_integers(whole: FloatArray, bits: NDArray[np.int64]) -> NDArray[np.generic] | None:
    """Integers, the two least of the type standing for no number and for minus zero."""
    none = np.isnan(whole) if np.isnan(whole.min(initial=0.0)) else None
    if none is not None and (bits[none] != _NAN_BITS).any():
        return None  # an unusual pattern of no-number
    least, greatest = np.fmin.reduce(whole, initial=0.0), np.fmax.reduce(whole, initial=0.0)
    most = max(-float(least), float(greatest))
    if most > MOST_EXACT:
        return None
    kind = np.dtype("<i4" if most < 2.0**31 - 2 else "<i8")
    out = whole.astype(kind)
    if none is not None:
        out[none] = np.iinfo(kind).min
    minus_zero = bits == _MINUS_ZERO_BITS
    if minus_zero.any():
        out[minus_zero] = np.iinfo(kind).min + 1
    return out


def _shuffled(numbers: NDArray[np.generic]) -> bytes:
    """First bytes of all numbers, then the second ones, …: like stands beside like."""
    words = numbers.view(f"<u{numbers.dtype.itemsize}")
    out = np.empty((numbers.dtype.itemsize, len(words)), np.uint8)
    for place in range(len(out)):
        out[place] = words >> words.dtype.type(8 * place)
    return out.tobytes()


def _unshuffled(chunk: Chunk) -> NDArray[np.generic]:
    kind = np.dtype(chunk.dtype)
    size = chunk.n * kind.itemsize
    try:
        plain = zstandard.ZstdDecompressor().decompress(chunk.data, max_output_size=size)
    except zstandard.ZstdError as error:
        raise DamagedChunk("it cannot be unpacked") from error
    if len(plain) != size:
        raise DamagedChunk(f"it holds {len(plain):,} bytes instead of {size:,}")
    return np.ascontiguousarray(np.frombuffer(plain, np.uint8).reshape(kind.itemsize, chunk.n).T).view(kind)[:, 0]


def _digest(n: int, codec: str, dtype: str, digits: int | None, data: bytes) -> str:
    seen = hashlib.sha256(f"{n} {codec} {dtype} {digits}\n".encode())
    seen.update(data)
    return seen.hexdigest()
