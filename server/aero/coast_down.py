"""A coast-down in closed form: resistance quadratic in speed, on a level road in still air.

    m_e dv/dt = -(a + b v + c v²)

With D = 4ac - b² and y0 = 2c v0 + b every case, whatever the sign of D and also for b = 0 or c = 0, is

    v(t) = v0 - 2 F0 S / (C + y0 S),     F0 = a + b v0 + c v0²,  x = t / (2 m_e)
    S, C = sin(√D x)/√D, cos(√D x)   for D > 0;   x, 1   for D = 0;   sinh(√-D x)/√-D, cosh(√-D x)   for D < 0

which is the textbook solution of the Riccati equation with its differences of large numbers multiplied out.
Sources of the special cases: F. M. White, Fluid Mechanics, 8th ed., problem 7.97 (a = 0); D. C. Wilcox, Basic
Fluid Mechanics, problem 3.26 (b = 0).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_not_negative, require_positive

_SERIES_BELOW = 1e-3  # |D x²| under which five terms of the series are exact to rounding
_CANCELS_BELOW = 1e-3  # c (v0 + v1)/|b|, and its square c (v0 + v1)²/F1, under which the distance cancels
_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(32)


@dataclass(frozen=True, slots=True)
class QuadraticLaw:
    """Mass and resistance of a coast-down; each a number or an array that broadcasts with the speeds.

    effective_mass_kg: m_e [kg]; a [N], b [N s/m], c [N s²/m²]: resistance a + b v + c v², c not below zero.
    a and b may be negative (downhill, tail wind).
    """

    effective_mass_kg: ArrayLike
    a: ArrayLike
    b: ArrayLike
    c: ArrayLike

    def __post_init__(self) -> None:
        require_positive(effective_mass_kg=self.effective_mass_kg)
        require_not_negative(c=self.c)

    def resistance(self, speed_mps: ArrayLike) -> FloatArray:
        """Resistance a + b v + c v² [N] at speeds v [m/s]."""
        v, a, b, c = floats(speed_mps, self.a, self.b, self.c)
        return a + b * v + c * v**2


def speed_after(time_s: ArrayLike, start_mps: ArrayLike, law: QuadraticLaw) -> FloatArray:
    """Speed of a coasting car at times after the start; zero once it has stopped.

    time_s: t [s]; start_mps: v0 [m/s]; law: mass and resistance

    Returns v [m/s], broadcast shape. Raises ValueError for t or v0 below zero.
    Source: equation at the head of this file.
    """
    require_not_negative(time_s=time_s, start_mps=start_mps)
    t, v0, m, a, b, c = floats(time_s, start_mps, law.effective_mass_kg, law.a, law.b, law.c)
    sine, cosine = _sine_cosine(4.0 * a * c - b**2, t / (2.0 * m))
    with np.errstate(divide="ignore", invalid="ignore"):
        v = v0 - 2.0 * law.resistance(v0) * sine / (cosine + (2.0 * c * v0 + b) * sine)
    stopped = t >= _time(v0, np.zeros_like(v0), law)
    return np.where(stopped, 0.0, np.maximum(v, 0.0))


def time_between(start_mps: ArrayLike, end_mps: ArrayLike, law: QuadraticLaw) -> FloatArray:
    """Time a coasting car takes from one speed down to another; infinite where it never gets there.

    t = (2 m_e/√D) atan( √D (v0 - v1) / (2a + b (v0 + v1) + 2c v0 v1) ), atanh for D < 0

    start_mps: v0, end_mps: v1 ≤ v0 [m/s]; law: mass and resistance

    Returns t [s], broadcast shape. Raises ValueError for v1 below zero or above v0.
    Source: equation at the head of this file, solved for t; 40 CFR 86.529-98 has it for b = 0.
    """
    v0, v1 = _falling(start_mps, end_mps)
    return np.where(v0 == v1, 0.0, _time(v0, v1, law))


def distance_between(start_mps: ArrayLike, end_mps: ArrayLike, law: QuadraticLaw) -> FloatArray:
    """Distance a coasting car covers from one speed down to another; infinite where it never gets there.

    s = (m_e/2c) [ ln(F0/F1) - b t/m_e ].  Where c v is below a thousandth of b or c v² a millionth of F,
    these terms would cancel: there s = ∫ v(t) dt by Gauss-Legendre quadrature of the closed form, which is a
    plain decay by then, exact to rounding.

    start_mps: v0, end_mps: v1 ≤ v0 [m/s]; law: mass and resistance

    Returns s [m], broadcast shape. Raises as `time_between`.
    Source: ∫ m_e v dv / F(v); for b = 0 D. C. Wilcox, Basic Fluid Mechanics, problem 3.26.
    """
    t = time_between(start_mps, end_mps, law)
    arrived = np.isfinite(t)
    finite = np.where(arrived, t, 0.0)
    v0, v1, m, b, c = floats(start_mps, end_mps, law.effective_mass_kg, law.b, law.c)
    last = law.resistance(v1)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        logarithm = np.log1p((v0 - v1) * (b + c * (v0 + v1)) / last)
        closed = m / (2.0 * c) * (logarithm - b * finite / m)
    cancels = (c * (v0 + v1) <= _CANCELS_BELOW * np.abs(b)) | (c * (v0 + v1) ** 2 <= _CANCELS_BELOW**2 * last)
    distance = np.where(cancels, _distance_by_quadrature(finite, v0, law), closed)
    return np.where(arrived, np.where(v0 == v1, 0.0, distance), np.inf)


def _falling(start_mps: ArrayLike, end_mps: ArrayLike) -> tuple[FloatArray, FloatArray]:
    require_not_negative(start_mps=start_mps, end_mps=end_mps)
    v0, v1 = floats(start_mps, end_mps)
    if np.any(v1 > v0):
        raise ValueError("end_mps must not lie above start_mps")
    return v0, v1


def _time(v0: FloatArray, v1: FloatArray, law: QuadraticLaw) -> FloatArray:
    """Time from v0 to v1, infinite where the resistance vanishes on the way."""
    m, a, b, c = floats(law.effective_mass_kg, law.a, law.b, law.c)
    x = _arc(4.0 * a * c - b**2, v0 - v1, 2.0 * a + b * (v0 + v1) + 2.0 * c * v0 * v1)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # beyond any speed is beyond any speed
        lowest_point = np.where(c > 0.0, -b / (2.0 * c), v1)
    on_the_way = np.minimum(np.maximum(lowest_point, v1), v0)
    least = np.minimum(law.resistance(on_the_way), np.minimum(law.resistance(v0), law.resistance(v1)))
    return np.where(least > 0.0, 2.0 * m * x, np.inf)


def _distance_by_quadrature(t: FloatArray, v0: FloatArray, law: QuadraticLaw) -> FloatArray:
    instants = 0.5 * t[..., np.newaxis] * (1.0 + _GAUSS_NODES)
    start, *lifted = (
        value[..., np.newaxis] for value in floats(v0, law.effective_mass_kg, law.a, law.b, law.c)
    )
    speeds = speed_after(instants, start, QuadraticLaw(*lifted))
    return np.asarray(0.5 * t * np.sum(_GAUSS_WEIGHTS * speeds, axis=-1))


def _sine_cosine(D: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """S and C of the equation at the head of this file; for D < 0 both divided by the hyperbolic cosine."""
    z, root = D * x**2, np.sqrt(np.abs(D))
    divisor = np.where(root > 0.0, root, 1.0)
    series_sine = x * (1.0 - z / 6.0 * (1.0 - z / 20.0 * (1.0 - z / 42.0 * (1.0 - z / 72.0))))
    series_cosine = 1.0 - z / 2.0 * (1.0 - z / 12.0 * (1.0 - z / 30.0 * (1.0 - z / 56.0)))
    sine = np.where(D > 0.0, np.sin(root * x), np.tanh(root * x)) / divisor
    cosine = np.where(D > 0.0, np.cos(root * x), 1.0)
    small = np.abs(z) < _SERIES_BELOW
    return np.where(small, series_sine, sine), np.where(small, series_cosine, cosine)


def _arc(D: FloatArray, upper: FloatArray, lower: FloatArray) -> FloatArray:
    """The x at which S/C = upper/lower."""
    root = np.sqrt(np.abs(D))
    divisor = np.where(root > 0.0, root, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = upper / lower
        z = D * ratio**2
        series = ratio * (
            1.0 - z * (1.0 / 3.0 - z * (1.0 / 5.0 - z * (1.0 / 7.0 - z * (1.0 / 9.0 - z / 11.0))))
        )
        circular = np.arctan2(root * upper, lower) / divisor
        hyperbolic = np.arctanh(np.clip(root * ratio, -1.0, 1.0)) / divisor
    return np.where(np.abs(z) < _SERIES_BELOW, series, np.where(D > 0.0, circular, hyperbolic))
