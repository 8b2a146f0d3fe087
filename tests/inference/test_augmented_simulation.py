"""Draws of the filter's noise against the covariance of all observations, written densely."""

import numpy as np

from server.inference.augmented_simulation import draw_random_part, whitened_column
from tests.inference.test_augmented_filter import NOISE, dense, make_segments


def test_draws_have_the_dense_covariance() -> None:
    segments = make_segments(np.random.default_rng(2), (5, 4))
    _, covariance = dense(segments, NOISE)
    rng = np.random.default_rng(0)
    drawn = np.array([draw_random_part(segments, NOISE, rng) for _ in range(20_000)])
    sd = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(drawn.mean(axis=0), 0.0, atol=0.05 * sd.max())
    np.testing.assert_allclose(np.corrcoef(drawn.T), covariance / np.outer(sd, sd), atol=0.03)
    np.testing.assert_allclose(drawn.std(axis=0), sd, rtol=0.03)


def test_whitened_draws_are_white() -> None:
    segments = make_segments(np.random.default_rng(3), (8, 8))
    rng = np.random.default_rng(1)
    drawn = np.array(
        [whitened_column(segments, NOISE, draw_random_part(segments, NOISE, rng)) for _ in range(4_000)]
    )
    np.testing.assert_allclose(drawn.std(axis=0), 1.0, atol=0.06)
    off = np.corrcoef(drawn.T) - np.eye(drawn.shape[1])
    assert np.max(np.abs(off)) < 0.08
