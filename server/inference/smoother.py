"""Rauch–Tung–Striebel smoother of the augmented filter at fixed parameters: speeds and gusts as found.

Rauch, Tung & Striebel, AIAA Journal 3 (1965) 1445–1450 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.inference.augmented_filter import FilterNoise, Segments

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """Smoothed speed [m/s] and gust [m/s] at every node, (n,), their standard deviations, and the coloured
    errors, (n, m)."""

    speed: FloatArray
    gust: FloatArray
    speed_sd: FloatArray
    gust_sd: FloatArray
    colours: FloatArray


def smooth(segments: Segments, noise: FilterNoise, theta: FloatArray) -> Smoothed:
    """Smooth all stretches at deviations θ given per row of forcing.

    theta: deviations of the parameters for every node and column, (n, p − 1), broadcastable.
    """
    forcing = segments.forcing[:, 0] + np.sum(segments.forcing[:, 1:] * theta, axis=1)
    row_node = np.repeat(np.arange(len(segments.step)), np.diff(segments.row_start))
    rows = np.broadcast_to(theta, segments.forcing[:, 1:].shape)[row_node]
    seen = segments.y - segments.direct[:, 0] - np.sum(segments.direct[:, 1:] * rows, axis=1)
    n = len(segments.step)
    out = np.zeros((4 + len(noise.colour_sd), n))
    for i in range(len(segments.start) - 1):
        _smooth_one(segments, noise, forcing, seen, i, out)
    return Smoothed(out[0], out[1], out[2], out[3], out[4:].T)


def _smooth_one(  # noqa: PLR0917 - one stretch of a loop, private
    segments: Segments,
    noise: FilterNoise,
    forcing: FloatArray,
    seen: FloatArray,
    stretch: int,
    out: FloatArray,
) -> None:
    first, last = int(segments.start[stretch]), int(segments.start[stretch + 1])
    size = 2 + len(noise.colour_sd)
    mean, cov = np.zeros(size), np.diag(np.concatenate([[0.0, noise.gust_sd**2], noise.colour_sd**2]))
    cov[0, 0] = noise.speed_start_sd**2
    mean[0] = segments.first_speed[stretch]
    means, covs, ahead_means, ahead_covs, moves = [], [], [], [], []
    for k in range(first, last):
        if k > first:
            move, push, added = transition(segments, noise, k)
            mean = move @ mean
            mean[0] += push * forcing[k]
            cov = move @ cov @ move.T + added
            moves.append(move)
        ahead_means.append(mean)
        ahead_covs.append(cov)
        for r in range(segments.row_start[k], segments.row_start[k + 1]):
            h = segments.see[r]
            ph = cov @ h
            s = float(h @ ph) + noise.white_sd[segments.kind[r]] ** 2 * segments.weight[r]
            mean = mean + ph / s * (seen[r] - float(h @ mean))
            cov = cov - np.outer(ph, ph) / s
        means.append(mean)
        covs.append(cov)
    m, c = means[-1], covs[-1]
    _keep(out, last - 1, m, c)
    for k in range(len(means) - 2, -1, -1):
        gain = covs[k] @ moves[k].T @ np.linalg.pinv(ahead_covs[k + 1], hermitian=True)
        m = means[k] + gain @ (m - ahead_means[k + 1])
        c = covs[k] + gain @ (c - ahead_covs[k + 1]) @ gain.T
        _keep(out, first + k, m, c)


def transition(segments: Segments, noise: FilterNoise, k: int) -> tuple[FloatArray, float, FloatArray]:
    """Transition matrix, the forcing's factor and the added covariance of the step to node k."""
    h, a, b = float(segments.step[k]), float(segments.a[k]), float(segments.b[k])
    tau = noise.gust_tau * float(segments.tau_scale[k])
    phi, ea = float(np.exp(-h / tau)), float(np.exp(a * h))
    colour = np.exp(-h / noise.colour_tau)
    move = np.diag(np.concatenate([[ea, phi], colour]))
    move[0, 1] = b * (ea - phi) / (a + 1.0 / tau)
    push = h if abs(a * h) < 1e-9 else (ea - 1.0) / a
    g2, late = noise.gust_sd**2, float(np.exp(0.75 * a * h))
    added = np.diag(
        np.concatenate(
            [
                [
                    b * b * late * g2 * tau**2 * (2.0 * h / tau - 3.0 + 4.0 * phi - phi**2),
                    g2 * (1.0 - phi**2),
                ],
                noise.colour_sd**2 * (1.0 - colour**2),
            ]
        )
    )
    added[0, 1] = added[1, 0] = b * float(np.exp(a * h / 3.0)) * g2 * tau * (1.0 - phi) ** 2
    return move, push, added


def _keep(out: FloatArray, node: int, mean: FloatArray, cov: FloatArray) -> None:
    out[0, node], out[1, node] = mean[0], mean[1]
    out[2, node], out[3, node] = np.sqrt(max(cov[0, 0], 0.0)), np.sqrt(max(cov[1, 1], 0.0))
    out[4:, node] = mean[2:]
