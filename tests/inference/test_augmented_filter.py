"""The filter against dense Gaussian algebra, and its transition against the matrix exponential."""

import numpy as np
import pytest
from scipy.linalg import block_diag, expm

from server.inference.augmented_filter import FilterNoise, Segments, whiten
from server.inference.smoother import smooth, transition

NOISE = FilterNoise(0.7, 6.0, np.array([0.03, 0.06]), np.array([0.0, 0.08]), np.array([1.0, 2.5]), speed_start_sd=2.0)


def make_segments(rng: np.random.Generator, lengths: tuple[int, ...] = (9, 7), p: int = 4) -> Segments:
    n = sum(lengths)
    seen = rng.integers(0, 3, n)
    r = int(seen.sum())
    return Segments(
        start=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        step=np.full(n, 0.2),
        a=-rng.uniform(0.02, 0.2, n),
        b=-rng.uniform(0.02, 0.2, n),
        forcing=rng.normal(0.0, 1.0, (n, p)),
        tau_scale=rng.uniform(0.6, 2.0, n),
        row_start=np.concatenate([[0], np.cumsum(seen)]).astype(np.int64),
        y=rng.normal(20.0, 0.5, r),
        see=np.column_stack([rng.uniform(0.98, 1.02, r), rng.normal(0.0, 0.1, r), rng.integers(0, 2, (r, 2))]),
        direct=rng.normal(0.0, 0.3, (r, p)),
        kind=rng.integers(0, 2, r).astype(np.int64),
        weight=rng.uniform(0.5, 2.0, r),
        first_speed=rng.normal(20.0, 0.5, len(lengths)),
    )


def dense(segments: Segments, noise: FilterNoise) -> tuple[np.ndarray, np.ndarray]:
    """Residual rows [e_0, −E] and covariance of all observations, from the joint Gaussian of all states."""
    size, rows_out, covs = 4, [], []
    for first, last, start in zip(segments.start[:-1], segments.start[1:], segments.first_speed, strict=True):
        n = last - first
        lift, push = np.zeros((n * size, n * size)), np.zeros((n * size, segments.forcing.shape[1]))
        drive = np.zeros((n * size, n * size))
        lift[:size, :size] = np.eye(size)
        drive[:size, :size] = np.diag([noise.speed_start_sd**2, noise.gust_sd**2, *noise.colour_sd**2])
        for i in range(1, n):
            move, factor, added = transition(segments, noise, first + i)
            here, before = slice(i * size, (i + 1) * size), slice((i - 1) * size, i * size)
            lift[here] = move @ lift[before]
            lift[here, here] = np.eye(size)
            push[here] = move @ push[before]
            push[i * size] += factor * segments.forcing[first + i]
            drive[here, here] = added
        joint = lift @ drive @ lift.T
        rows = range(segments.row_start[first], segments.row_start[last])
        see = np.zeros((len(rows), n * size))
        node = np.repeat(np.arange(n), np.diff(segments.row_start[first : last + 1]))
        for i, r in enumerate(rows):
            see[i, node[i] * size : (node[i] + 1) * size] = segments.see[r]
        part = slice(rows.start, rows.stop)
        level = np.zeros(n * size)
        level[:] = lift[:, 0] * start
        e = -(see @ push) - segments.direct[part]
        e[:, 0] += segments.y[part] - see @ level
        rows_out.append(e)
        white = noise.white_sd[segments.kind[part]] ** 2 * segments.weight[part]
        covs.append(see @ joint @ see.T + np.diag(white))
    return np.vstack(rows_out), block_diag(*covs)


@pytest.mark.parametrize("seed", range(5))
def test_rows_give_the_dense_likelihood(seed: int) -> None:
    segments = make_segments(np.random.default_rng(seed))
    rows, logdet = whiten(segments, NOISE)
    e, cov = dense(segments, NOISE)
    assert np.linalg.slogdet(cov)[1] == pytest.approx(logdet, rel=1e-10)
    np.testing.assert_allclose(rows.T @ rows, e.T @ np.linalg.solve(cov, e), rtol=1e-8, atol=1e-6)


def test_smoother_gives_the_dense_conditional_mean() -> None:
    segments = make_segments(np.random.default_rng(3), (12,))
    theta = np.array([0.3, -0.2, 0.1])
    found = smooth(segments, NOISE, np.broadcast_to(theta, (12, 3)))
    e, _ = dense(segments, NOISE)
    residual = e[:, 0] + e[:, 1:] @ theta
    # the gust at node 5 by moving an extra, nearly noiseless look at it: E[g | y] = Cov(g, y) Cov(y)⁻¹ r
    probe = Segments(**{name: getattr(segments, name) for name in segments.__dataclass_fields__})
    at = int(segments.row_start[6])
    insert = {"y": 0.0, "kind": 0, "weight": 1e-12}
    changed = {k: np.insert(getattr(probe, k), at, v) for k, v in insert.items()}
    changed["kind"] = changed["kind"].astype(np.int64)
    changed["see"] = np.insert(probe.see, at, [0.0, 1.0, 0.0, 0.0], axis=0)
    changed["direct"] = np.insert(probe.direct, at, 0.0, axis=0)
    changed["row_start"] = probe.row_start + (np.arange(13) > 5)
    wider = Segments(**{**{n: getattr(probe, n) for n in probe.__dataclass_fields__}, **changed})
    quiet = NOISE
    _, joint = dense(wider, quiet)
    keep = np.arange(len(joint)) != at
    expected = joint[at, keep] @ np.linalg.solve(joint[np.ix_(keep, keep)], residual)
    assert found.gust[5] == pytest.approx(expected, abs=1e-6)
    variance = joint[at, at] - joint[at, keep] @ np.linalg.solve(joint[np.ix_(keep, keep)], joint[keep, at])
    assert found.gust_sd[5] == pytest.approx(np.sqrt(variance), rel=1e-4)


def test_transition_is_the_matrix_exponential() -> None:
    """Mean and forcing exactly; the noise by Van Loan (IEEE Trans. Autom. Control 23 (1978) 395–404, from
    memory) for a = 0, where the filter's closed form is exact too, and to order (a h)² otherwise."""
    for a, tolerance in ((0.0, 1e-9), (-0.12, 3e-4)):
        segments = make_segments(np.random.default_rng(1))
        segments.a[3], segments.b[3], segments.tau_scale[3] = a, -0.11, 1.0
        move, push, added = transition(segments, NOISE, 3)
        system = np.array([[a, -0.11, 1.0], [0.0, -1.0 / 6.0, 0.0], [0.0, 0.0, 0.0]])
        exact = expm(system * 0.2)
        np.testing.assert_allclose(move[:2, :2], exact[:2, :2], rtol=1e-9, atol=1e-12)
        assert push == pytest.approx(exact[0, 2], rel=1e-9)
        drift = system[:2, :2]
        spread = np.diag([0.0, 2.0 * 0.7**2 / 6.0])
        loan = expm(np.block([[-drift, spread], [np.zeros((2, 2)), drift.T]]) * 0.2)
        np.testing.assert_allclose(added[:2, :2], loan[2:, 2:].T @ loan[:2, 2:], rtol=tolerance)


def test_halving_the_step_changes_the_likelihood_little() -> None:
    """One step of 0.2 s against two of 0.1 s: what a coarser grid costs in log likelihood."""
    rng = np.random.default_rng(0)
    coarse = make_segments(rng, (30,), 3)
    n = 30
    node = np.repeat(np.arange(n), np.diff(coarse.row_start))
    fine_counts = np.zeros(2 * n - 1, dtype=np.int64)
    fine_counts[::2] = np.bincount(node, minlength=n)

    def twice(x: np.ndarray) -> np.ndarray:
        return np.concatenate([x[:1], np.repeat(x[1:], 2, axis=0)])

    fine = Segments(
        start=np.array([0, 2 * n - 1]),
        step=np.full(2 * n - 1, 0.1),
        a=twice(coarse.a),
        b=twice(coarse.b),
        forcing=twice(coarse.forcing),
        tau_scale=twice(coarse.tau_scale),
        row_start=np.concatenate([[0], np.cumsum(fine_counts)]).astype(np.int64),
        **{k: getattr(coarse, k) for k in ("y", "see", "direct", "kind", "weight", "first_speed")},
    )
    rows, logdet = whiten(coarse, NOISE)
    rows_fine, logdet_fine = whiten(fine, NOISE)
    np.testing.assert_allclose(rows_fine, rows, rtol=3e-3, atol=3e-3)
    assert logdet_fine == pytest.approx(logdet, abs=1e-3)


def test_a_free_start_speed_holds_no_scale() -> None:
    """Fifty stretches that see (1 + κ) v must not know κ from where each of them began."""
    segments = make_segments(np.random.default_rng(7), (6,) * 50, 2)
    segments.a[:], segments.b[:] = 0.0, -0.1
    segments.forcing[:] = 0.0
    segments.see[:] = np.array([1.0, 0.0, 0.0, 0.0])
    segments.direct[:] = 0.0
    segments.direct[:, 1] = 20.0  # ∂y/∂κ at 20 m/s
    free = FilterNoise(0.7, 6.0, np.array([0.03, 0.06]), np.array([0.0, 0.08]), np.array([1.0, 2.5]))
    rows, _ = whiten(segments, free)
    assert float(rows[:, 1] @ rows[:, 1]) < 1.0 / 0.02**2  # u of κ from this alone above 2 %
