"""Kalman filter that carries the sensitivities to constant parameters beside the state.

A linear state-space model whose forcing depends linearly on constant parameters θ,

    x_k = Φ_k x_{k−1} + c_k + C_k θ + process noise,      y_i = H_i x_k + d_i + D_i θ + noise,

gives innovations that are linear in θ: e(θ) = e_0 − E θ. Because the gain does not depend on θ, one pass
of the filter over the offset and over every sensitivity column yields whitened rows [e_0, E]/√S, and the
marginal likelihood over θ becomes ordinary linear least squares (Rosenberg 1973, Annals of Economic and
Social Measurement 2, 399–428; de Jong 1991, Annals of Statistics 19, 1073–1083; from memory).

The state is (v, g, e_1 … e_m): a speed driven by v̇ = a v + b g + forcing, an Ornstein–Uhlenbeck gust g,
and m Ornstein–Uhlenbeck errors, each of which may be seen by several sensors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Segments:
    """Several independent stretches of one linearised system, laid end to end.

    n nodes in all, r observations, p columns (column 0 the offset, the rest parameters).
    start: first node of each stretch, shape (s + 1,); step [s] to each node from the one before, (n,);
    a [1/s], b [1/s]: coefficients over that step, (n,); forcing [m/s²]: (n, p);
    tau_scale: the gust's time constant relative to the nominal, (n,);
    row_start: first observation of each node, (n + 1,); y: (r,); see: what an observation sees of the state
    (v, g, e_1 … e_m), (r, 2 + m); direct: what it sees of the parameters besides, (r, p), column 0 an offset;
    kind: index into the white noise, (r,); weight: variance factor, (r,).
    first_speed [m/s]: where each stretch's free start speed is centred, (s,).
    """

    start: IntArray
    step: FloatArray
    a: FloatArray
    b: FloatArray
    forcing: FloatArray
    tau_scale: FloatArray
    row_start: IntArray
    y: FloatArray
    see: FloatArray
    direct: FloatArray
    kind: IntArray
    weight: FloatArray
    first_speed: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class FilterNoise:
    """Noise of the filter. gust_sd [m/s], gust_tau [s]; white_sd per kind of sensor, in its unit, (kinds,);
    colour_sd and colour_tau [s] of the coloured errors, in the unit that `see` gives them, (m,)."""

    gust_sd: float
    gust_tau: float
    white_sd: FloatArray
    colour_sd: FloatArray
    colour_tau: FloatArray
    speed_start_sd: float = 100.0


def whiten(segments: Segments, noise: FilterNoise) -> tuple[FloatArray, float]:
    """Whitened rows [e_0, −E]/√S of shape (r, p) and Σ log S over all observations.

    Rows follow the observations' order. The residual at θ is rows[:, 0] + rows[:, 1:] @ θ.
    """
    rows = np.empty_like(segments.direct)
    logdet = _whiten(
        segments.start,
        segments.step,
        segments.a,
        segments.b,
        segments.forcing,
        segments.tau_scale,
        segments.row_start,
        segments.y,
        segments.see,
        segments.direct,
        segments.kind,
        segments.weight,
        segments.first_speed,
        noise.gust_sd,
        noise.gust_tau,
        noise.white_sd,
        noise.colour_sd,
        noise.colour_tau,
        noise.speed_start_sd,
        rows,
    )
    return rows, float(logdet)


@numba.njit(cache=True, nogil=True)
def _whiten(  # type: ignore[no-untyped-def] # noqa: PLR0912, PLR0915, PLR0917 - one loop, compiled whole
    start,
    step,
    a,
    b,
    forcing,
    tau_scale,
    row_start,
    y,
    see,
    direct,
    kind,
    weight,
    first_speed,
    gust_sd,
    gust_tau,
    white_sd,
    colour_sd,
    colour_tau,
    speed_start_sd,
    rows,
):
    kinds = colour_sd.shape[0]
    ns = 2 + kinds
    p = forcing.shape[1]
    mean = np.zeros((ns, p))
    cov = np.zeros((ns, ns))
    ph = np.zeros(ns)
    phi_colour = np.zeros(kinds)
    logdet = 0.0
    for segment in range(start.shape[0] - 1):
        first = start[segment]
        mean[:] = 0.0
        cov[:] = 0.0
        mean[0, 0] = first_speed[segment]
        cov[0, 0] = speed_start_sd * speed_start_sd
        cov[1, 1] = gust_sd * gust_sd
        for j in range(kinds):
            cov[2 + j, 2 + j] = colour_sd[j] * colour_sd[j]
        for k in range(first, start[segment + 1]):
            if k > first:
                h = step[k]
                tau = gust_tau * tau_scale[k]
                ak = a[k]
                bk = b[k]
                phi = math.exp(-h / tau)
                ea = math.exp(ak * h)
                pull = bk * (ea - phi) / (ak + 1.0 / tau)
                push = h if abs(ak * h) < 1e-9 else (ea - 1.0) / ak
                for c in range(p):
                    mean[0, c] = ea * mean[0, c] + pull * mean[1, c] + push * forcing[k, c]
                    mean[1, c] *= phi
                for j in range(kinds):
                    phi_colour[j] = math.exp(-h / colour_tau[j])
                    for c in range(p):
                        mean[2 + j, c] *= phi_colour[j]
                # covariance: Φ P Φᵀ, rows first
                for c in range(ns):
                    cov[0, c] = ea * cov[0, c] + pull * cov[1, c]
                    cov[1, c] *= phi
                    for j in range(kinds):
                        cov[2 + j, c] *= phi_colour[j]
                for c in range(ns):
                    cov[c, 0] = ea * cov[c, 0] + pull * cov[c, 1]
                    cov[c, 1] *= phi
                    for j in range(kinds):
                        cov[c, 2 + j] *= phi_colour[j]
                g2 = gust_sd * gust_sd
                growth = 1.0 - phi
                # exact for a = 0; the factors carry what enters within the step on to its end, to order (a h)²
                late = bk * bk * math.exp(0.75 * ak * h)
                cov[0, 0] += late * g2 * tau * tau * (2.0 * h / tau - 3.0 + 4.0 * phi - phi * phi)
                cross = bk * math.exp(ak * h / 3.0) * g2 * tau * growth * growth
                cov[0, 1] += cross
                cov[1, 0] += cross
                cov[1, 1] += g2 * (1.0 - phi * phi)
                for j in range(kinds):
                    cov[2 + j, 2 + j] += colour_sd[j] * colour_sd[j] * (1.0 - phi_colour[j] * phi_colour[j])
            for r in range(row_start[k], row_start[k + 1]):
                s = white_sd[kind[r]] * white_sd[kind[r]] * weight[r]
                for i in range(ns):
                    ph[i] = 0.0
                    for c in range(ns):
                        ph[i] += see[r, c] * cov[i, c]
                for i in range(ns):
                    s += see[r, i] * ph[i]
                root = 1.0 / math.sqrt(s)
                logdet += math.log(s)
                for c in range(p):
                    rows[r, c] = -direct[r, c]
                rows[r, 0] += y[r]
                for i in range(ns):
                    hi = see[r, i]
                    if hi != 0.0:
                        for c in range(p):
                            rows[r, c] -= hi * mean[i, c]
                for i in range(ns):
                    gain = ph[i] / s
                    if gain != 0.0:
                        for c in range(p):
                            mean[i, c] += gain * rows[r, c]
                for c in range(p):
                    rows[r, c] *= root
                for i in range(ns):
                    for c in range(i, ns):
                        cov[i, c] -= ph[i] * ph[c] / s
                        cov[c, i] = cov[i, c]
    return logdet
