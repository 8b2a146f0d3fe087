"""What the augmented filter's noise makes of observations: draws of their random part, for parametric bootstraps."""

from __future__ import annotations

import math
from dataclasses import replace

import numba
import numpy as np
from numpy.typing import NDArray

from server.inference.augmented_filter import FilterNoise, Segments, whiten

FloatArray = NDArray[np.float64]


def draw_random_part(segments: Segments, noise: FilterNoise, rng: np.random.Generator) -> FloatArray:
    """The random part of all observations [their units], (r,): gusts, coloured errors and white noise through the
    model, everything that is constant left out. The start speed is as wide as the filter takes it."""
    nodes, colours = len(segments.step), len(noise.colour_sd)
    normal = rng.standard_normal((nodes, 2 + colours))
    white = rng.standard_normal(len(segments.y)) * noise.white_sd[segments.kind] * np.sqrt(segments.weight)
    drawn: FloatArray = _draw(
        segments.start,
        segments.step,
        segments.a,
        segments.b,
        segments.tau_scale,
        segments.row_start,
        segments.see,
        normal,
        white,
        noise.gust_sd,
        noise.gust_tau,
        noise.colour_sd,
        noise.colour_tau,
        noise.speed_start_sd,
    )
    return drawn


def whitened_column(segments: Segments, noise: FilterNoise, y: FloatArray) -> FloatArray:
    """Whitened residuals (r,) of observations y whose constant part is nil."""
    bare = replace(
        segments,
        y=y,
        forcing=np.zeros((len(segments.step), 1)),
        direct=np.zeros((len(y), 1)),
        first_speed=np.zeros(len(segments.first_speed)),
    )
    return whiten(bare, noise)[0][:, 0]


@numba.njit(cache=True, nogil=True)
def _draw(  # type: ignore[no-untyped-def] # noqa: PLR0917
    start,
    step,
    a,
    b,
    tau_scale,
    row_start,
    see,
    normal,
    white,
    gust_sd,
    gust_tau,
    colour_sd,
    colour_tau,
    speed_start_sd,
):
    colours = colour_sd.shape[0]
    y = white.copy()
    colour = np.zeros(colours)
    for segment in range(start.shape[0] - 1):
        first = start[segment]
        v = speed_start_sd * normal[first, 0]
        g = gust_sd * normal[first, 1]
        for j in range(colours):
            colour[j] = colour_sd[j] * normal[first, 2 + j]
        for k in range(first, start[segment + 1]):
            if k > first:
                h = step[k]
                tau = gust_tau * tau_scale[k]
                phi = math.exp(-h / tau)
                ea = math.exp(a[k] * h)
                g2 = gust_sd * gust_sd
                late = b[k] * b[k] * math.exp(0.75 * a[k] * h)
                var_v = late * g2 * tau * tau * (2.0 * h / tau - 3.0 + 4.0 * phi - phi * phi)
                cov = b[k] * math.exp(a[k] * h / 3.0) * g2 * tau * (1.0 - phi) * (1.0 - phi)
                var_g = g2 * (1.0 - phi * phi)
                root_g = math.sqrt(var_g)
                along = cov / root_g if root_g > 0.0 else 0.0
                rest = math.sqrt(max(var_v - along * along, 0.0))
                pull = b[k] * (ea - phi) / (a[k] + 1.0 / tau)
                v = ea * v + pull * g + along * normal[k, 1] + rest * normal[k, 0]
                g = phi * g + root_g * normal[k, 1]
                for j in range(colours):
                    keep = math.exp(-h / colour_tau[j])
                    colour[j] = keep * colour[j] + colour_sd[j] * math.sqrt(1.0 - keep * keep) * normal[k, 2 + j]
            for r in range(row_start[k], row_start[k + 1]):
                y[r] += see[r, 0] * v + see[r, 1] * g
                for j in range(colours):
                    y[r] += see[r, 2 + j] * colour[j]
    return y
