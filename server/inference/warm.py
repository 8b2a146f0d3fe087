"""Compile the loops before anyone waits for them; the compiled code is kept in numba's cache folder."""

from __future__ import annotations

import numpy as np

from server.inference.augmented_filter import FilterNoise, Segments, whiten


def warm() -> None:
    """Run the filter once over two nodes, which compiles it (or loads it from the cache)."""
    segments = Segments(
        start=np.array([0, 2], dtype=np.int64),
        step=np.full(2, 0.2),
        a=np.full(2, -0.1),
        b=np.full(2, -0.1),
        forcing=np.zeros((2, 2)),
        tau_scale=np.ones(2),
        row_start=np.array([0, 1, 2], dtype=np.int64),
        y=np.full(2, 20.0),
        see=np.array([[1.0, 0.0, 0.0], [1.0, 0.0, 1.0]]),
        direct=np.zeros((2, 2)),
        kind=np.zeros(2, dtype=np.int64),
        weight=np.ones(2),
        first_speed=np.full(1, 20.0),
    )
    whiten(segments, FilterNoise(0.5, 5.0, np.full(2, 0.05), np.zeros(1), np.ones(1)))
