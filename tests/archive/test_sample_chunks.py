"""Chunks: what comes out has the bits of what went in, and a byte that changed is noticed."""

from __future__ import annotations

import dataclasses
import hashlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from server.archive.sample_chunks import DamagedChunk, decode, encode
from tests.archive.sample_logs import bits, walk

DECIMALS = st.builds(lambda k, d: k / 10.0**d, st.integers(-(10**12), 10**12), st.integers(0, 9))
ODD = st.sampled_from([np.nan, -np.nan, np.inf, -np.inf, -0.0, 0.0, 5e-324, 1.7e308, 2.0**53 + 2, -(2.0**31), 2.0**31])


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        arrays(np.float64, st.integers(0, 90)),
        st.lists(DECIMALS, max_size=90).map(np.array),
        st.lists(DECIMALS | ODD | st.floats(), max_size=90).map(lambda found: np.array(found, dtype=float)),
        arrays(np.float32, st.integers(0, 90)).map(lambda found: found.astype(np.float64)),
    )
)
def test_every_bit_comes_back(values: np.ndarray) -> None:  # type: ignore[type-arg]
    values = np.asarray(values, dtype=np.float64)
    np.testing.assert_array_equal(bits(decode(encode(values))), bits(values))


def test_a_late_value_with_more_places_is_not_rounded() -> None:
    """The few values that tell the places to try are not all values."""
    values = np.round(walk(65_536, 1), 2)
    values[12_345] = 1.234567
    chunk = encode(values)
    assert chunk.digits == 6
    np.testing.assert_array_equal(bits(decode(chunk)), bits(values))


@pytest.mark.parametrize(
    ("values", "dtype", "digits"),
    [
        (walk(65_536, 1, 4), "<i4", 4),
        (np.where(np.arange(65_536) % 7 == 0, np.nan, walk(65_536, 1, 4)), "<i4", 4),
        (np.where(np.arange(65_536) % 7 == 0, -0.0, walk(65_536, 1, 4)), "<i4", 4),
        (1.7e9 + np.arange(65_536) / 1000.0, "<i8", 3),
        (walk(65_536, 1, None).astype(np.float32).astype(float), "<f4", None),
        (walk(65_536, 1, None), "<f8", None),
    ],
)
def test_the_smallest_form_that_loses_nothing(values: np.ndarray, dtype: str, digits: int | None) -> None:  # type: ignore[type-arg]
    chunk = encode(values)
    assert (chunk.dtype, chunk.digits, chunk.n) == (dtype, digits, 65_536)
    assert len(chunk.data) < values.nbytes
    np.testing.assert_array_equal(bits(decode(chunk)), bits(values))


@pytest.mark.parametrize("place", [0, 3, 40, -5, -1])
def test_a_flipped_bit_is_noticed(place: int) -> None:
    chunk = encode(walk(5000, 1))
    data = bytearray(chunk.data)
    data[place] ^= 0x10
    with pytest.raises(DamagedChunk, match="SHA-256"):
        decode(dataclasses.replace(chunk, data=bytes(data)))


@pytest.mark.parametrize("change", [{"n": 4999}, {"dtype": "<f4"}, {"digits": 2}, {"digits": None}, {"codec": "none"}])
def test_a_changed_description_is_noticed(change: dict[str, object]) -> None:
    with pytest.raises(DamagedChunk, match="SHA-256"):
        decode(dataclasses.replace(encode(walk(5000, 1)), **change))


def test_the_hash_is_sha_256() -> None:
    """FIPS 180-4 SHA-256, the published example of "abc" (NIST, Examples with Intermediate Values)."""
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(b"abc").hexdigest() == known
    chunk = encode(walk(100, 1))
    described = f"{chunk.n} {chunk.codec} {chunk.dtype} {chunk.digits}\n".encode()
    assert chunk.sha256 == hashlib.sha256(described + chunk.data).hexdigest()


def test_the_bytes_are_a_zstandard_frame() -> None:
    """RFC 8878, section 3.1.1: a frame starts with the magic number 0xFD2FB528, little-endian."""
    assert encode(walk(100, 1)).data[:4] == (0xFD2FB528).to_bytes(4, "little")
