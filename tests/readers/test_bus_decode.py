"""Bit arithmetic on many frames against cantools' decoding of each, a general reference library."""

import cantools
import numpy as np
import pytest
from cantools.database.can import Message, Signal
from cantools.database.conversion import BaseConversion
from hypothesis import given, settings
from hypothesis import strategies as st

from server.readers.bus_decode import decode, is_decodable, needed_bytes, pieces


@st.composite
def signals(draw, width: int = 64) -> Signal:
    """A signal that fits into a frame of `width` bits."""
    is_float = draw(st.booleans())
    length = draw(st.sampled_from([16, 32, 64]) if is_float else st.integers(1, min(64, width)))
    first = draw(st.integers(0, width - length))
    little = draw(st.booleans())
    start = first if little else 8 * (first // 8) + 7 - first % 8
    scale = draw(st.sampled_from([1, 2, 0.01, -0.5, 1e-6]))
    conversion = BaseConversion.factory(scale, draw(st.sampled_from([0, -40, 0.25])), is_float=is_float)
    order = "little_endian" if little else "big_endian"
    return Signal("s", start, length, order, draw(st.booleans()), conversion=conversion)


@settings(max_examples=300, deadline=None)
@given(signal=signals(), seed=st.integers(0, 2**32))
def test_any_signal_is_what_cantools_decodes(signal, seed):
    message = Message(1, "m", 8, [signal], strict=False)
    data = np.random.default_rng(seed).integers(0, 256, (40, 8)).astype(np.uint8)
    values, short = decode(message, data, np.full(40, 8))["s"]
    with np.errstate(all="ignore"):
        expected = [message.decode(row.tobytes(), decode_choices=False)["s"] for row in data]
    assert np.allclose(values, np.array(expected, dtype=np.float64), rtol=1e-12, atol=1e-12, equal_nan=True)
    assert short == 0


@settings(max_examples=60, deadline=None)
@given(signal=signals(512), seed=st.integers(0, 2**32))
def test_frames_of_64_bytes(signal, seed):
    message = Message(1, "m", 64, [signal], strict=False)
    data = np.random.default_rng(seed).integers(0, 256, (20, 64)).astype(np.uint8)
    expected = [message.decode(row.tobytes(), decode_choices=False)["s"] for row in data]
    values = decode(message, data, np.full(20, 64))["s"][0]
    assert np.allclose(values, np.array(expected, dtype=np.float64), rtol=1e-12, atol=1e-12, equal_nan=True)


@given(signal=signals())
def test_pieces_cover_each_bit_once(signal):
    found = pieces(signal.start, signal.length, signal.byte_order == "little_endian")
    assert sorted(p.place + k for p in found for k in range(p.count)) == list(range(signal.length))
    places = [(p.byte, p.low + k) for p in found for k in range(p.count)]
    assert len(set(places)) == signal.length
    assert all(0 <= bit < 8 for _, bit in places)


PAGES = """VERSION ""
BO_ 100 Pages: 8 ECU
 SG_ Top M : 0|4@1+ (1,0) [0|0] "" ECU
 SG_ Below m1M : 4|4@1+ (1,0) [0|0] "" ECU
 SG_ A m0 : 8|8@1+ (1,0) [0|0] "" ECU
 SG_ B m2 : 8|8@1- (1,0) [0|0] "" ECU
 SG_ C m3 : 16|8@1- (0.5,0) [0|0] "" ECU
 SG_ Always : 56|8@1+ (1,0) [0|0] "" ECU
SG_MUL_VAL_ 100 Below Top 1-1;
SG_MUL_VAL_ 100 A Top 0-0, 5-7;
SG_MUL_VAL_ 100 B Below 2-2;
SG_MUL_VAL_ 100 C Below 3-4;
"""


def test_pages_of_pages_and_ranges_of_them():
    """Extended multiplexing as DBC writes it: a page selected by a signal that is on a page itself."""
    message = cantools.database.load_string(PAGES, strict=False).get_message_by_name("Pages")
    data = np.random.default_rng(3).integers(0, 256, (600, 8)).astype(np.uint8)
    data[:, 0] &= 0x77
    found = decode(message, data, np.full(600, 8))
    for name, (values, _) in found.items():
        expected = []
        for row in data:
            try:
                expected.append(message.decode(row.tobytes()).get(name, np.nan))
            except cantools.database.errors.DecodeError:  # a page that nothing is on
                expected.append(np.nan if name not in ("Top", "Always") else None)
        for value, wanted in zip(values, expected, strict=True):
            assert wanted is None or np.array_equal(value, wanted, equal_nan=True) or name == "Below"
        assert np.isfinite(values).any()
    assert np.isfinite(found["Always"][0]).all()
    assert np.array_equal(np.isfinite(found["Below"][0]), data[:, 0] & 0xF == 1)


def test_short_frames_lack_what_lies_behind_their_end():
    low = Signal("low", 0, 12, "little_endian")
    high = Signal("high", 12, 12, "little_endian")
    message = Message(1, "m", 3, [low, high])
    data = np.array([[1, 2, 3], [1, 2, 0], [1, 0, 0]], np.uint8)
    found = decode(message, data, np.array([3, 2, 1]))
    assert found["low"][0] == pytest.approx([513, 513, np.nan], nan_ok=True)
    assert found["high"][0] == pytest.approx([48, np.nan, np.nan], nan_ok=True)
    assert (found["low"][1], found["high"][1]) == (1, 2)
    assert (needed_bytes(low), needed_bytes(high)) == (2, 3)


def test_what_is_no_number_is_not_decodable():
    assert not is_decodable(Signal("text", 0, 128, "little_endian"))
    assert not is_decodable(Signal("odd", 0, 24, "little_endian", conversion=BaseConversion.factory(is_float=True)))
    assert is_decodable(Signal("whole", 0, 64, "big_endian"))
