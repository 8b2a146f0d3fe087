"""Interval sets against brute force on a fine clock, and their edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.analysis.intervals import (
    bridged,
    complement,
    covered_s,
    inside,
    intervals,
    join,
    lasting,
    meet,
    no_intervals,
    where,
    without,
)

CLOCK = np.arange(0.0, 40.0, 0.25) + 0.125
pairs = st.lists(st.tuples(st.integers(0, 39), st.integers(0, 39)), max_size=6)


def as_mask(of: np.ndarray) -> np.ndarray:
    return inside(CLOCK, of)


@settings(max_examples=60, deadline=None)
@given(pairs, pairs)
def test_sets_agree_with_masks_on_a_clock(a_pairs: list[tuple[int, int]], b_pairs: list[tuple[int, int]]) -> None:
    a, b = intervals([*map(tuple, a_pairs)]), intervals([*map(tuple, b_pairs)])
    mask = np.zeros(len(CLOCK), dtype=bool)
    for start, end in a_pairs:
        mask |= (start < CLOCK) & (end > CLOCK)
    np.testing.assert_array_equal(as_mask(a), mask)
    np.testing.assert_array_equal(as_mask(join(a, b)), as_mask(a) | as_mask(b))
    np.testing.assert_array_equal(as_mask(meet(a, b)), as_mask(a) & as_mask(b))
    np.testing.assert_array_equal(as_mask(without(a, b)), as_mask(a) & ~as_mask(b))
    np.testing.assert_array_equal(as_mask(complement(a, 0.0, 40.0)), ~as_mask(a))
    assert covered_s(a, 0.0, 40.0) == pytest.approx(0.25 * mask.sum())


def test_a_mask_becomes_intervals_and_reaches_to_its_neighbours() -> None:
    time = np.arange(6.0)
    mask = np.array([False, True, True, False, False, True])
    np.testing.assert_array_equal(where(time, mask), [[1.0, 2.0]])
    np.testing.assert_array_equal(where(time, mask, reach=True), [[0.0, 3.0], [4.0, 5.0]])
    assert len(where(time[:0], mask[:0])) == 0


def test_short_gaps_close_and_short_intervals_go() -> None:
    of = intervals([(0.0, 1.0), (1.3, 2.0), (5.0, 5.2)])
    np.testing.assert_allclose(bridged(of, 0.5), [[0.0, 2.0], [5.0, 5.2]])
    np.testing.assert_array_equal(lasting(of, 0.5), [[0.0, 1.0], [1.3, 2.0]])
    assert len(bridged(no_intervals(), 1.0)) == 0
