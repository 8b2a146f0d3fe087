"""The pyramid against the plain least and greatest of its samples."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from server.archive.pyramid import FACTOR, LEAST_BUCKETS, highest, levels, lowest
from tests.archive.sample_logs import walk

NUMBERS = arrays(np.float64, st.integers(0, 200), elements=st.floats(-1e6, 1e6) | st.just(np.nan))


def plain(values: np.ndarray, size: int, choose) -> list[float]:  # type: ignore[type-arg,no-untyped-def]
    buckets = [values[k : k + size] for k in range(0, len(values), size)]
    numbers = [one[~np.isnan(one)] for one in buckets]
    return [choose(one) if len(one) else np.nan for one in numbers]


@settings(max_examples=200, deadline=None)
@given(NUMBERS, st.integers(1, 70))
def test_buckets(values: np.ndarray, size: int) -> None:  # type: ignore[type-arg]
    np.testing.assert_array_equal(lowest(values, size), plain(values, size, min))
    np.testing.assert_array_equal(highest(values, size), plain(values, size, max))


def test_levels_stop_where_a_screen_has_enough() -> None:
    n = FACTOR * FACTOR * LEAST_BUCKETS + 17
    values = walk(n, 1)
    found = list(levels(values))
    assert [len(low) for low, _ in found] == [-(-n // FACTOR), -(-n // FACTOR**2)]
    for k, (low, high) in enumerate(found, 1):
        np.testing.assert_array_equal(low, lowest(values, FACTOR**k))
        np.testing.assert_array_equal(high, highest(values, FACTOR**k))
    assert not list(levels(values[: FACTOR * (LEAST_BUCKETS - 1)]))
