"""The speed-interval method of the published road-load procedures, beside the fit of the day.

The time that each coast-down takes through a window of speed gives a force; opposite directions are averaged
in pairs; least squares through the forces give F = f0 + f1 v + f2 v² and so a drag area 2 f2/ρ.
Source: UN GTR 15 (WLTP), annex 4, 4.3.1, stationary anemometer: reference speeds every 10 km/h, windows of
±5 km/h, harmonic means of opposite runs, precision p ≤ 0.03. Adapted to a car that covers a smaller range:
the grid is halved where fewer than five windows fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import scipy.stats

from server.analysis.result import Estimate, IntervalMethod, IntervalWindow
from server.analysis.speed_windows import KMH, CoastDown, IntervalOptions, WindowTimes, window_times
from server.inference.least_squares import (
    LeastSquaresFit,
    estimator_weights,
    linear_least_squares,
    polynomial_design,
)
from server.testday.values import FloatArray

__all__ = [
    "CoastDown",
    "IntervalOptions",
    "WindowTimes",
    "interval_method",
    "interval_method_from_times",
    "precision",
    "precision_factor",
]

STANDARD_PAIRS = 3
# UN GTR 15, annex 4, table A4/4: factor h for 3 to 20 pairs.
_PRECISION_FACTORS = (
    4.3,
    3.2,
    2.8,
    2.6,
    2.5,
    2.4,
    2.3,
    2.3,
    2.2,
    2.2,
    2.2,
    2.2,
    2.2,
    2.1,
    2.1,
    2.1,
    2.1,
    2.1,
)
_THREE_TERMS, _TWO_TERMS = (0, 1, 2), (0, 2)


def interval_method(
    passes: Sequence[CoastDown],
    effective_mass_kg: float,
    density_kgm3: float,
    options: IntervalOptions | None = None,
) -> IntervalMethod:
    """Drag area by the speed-interval method from recorded coast-downs of one setup.

    passes: in the order driven; each window pairs the passes that cross it, so that a straight too short for
    the whole range may be driven in parts
    effective_mass_kg: with the rotating parts [kg]; density_kgm3: of the air, mean of the passes [kg/m³]

    Parts that cannot be had are None and `text` says why. Raises ValueError unless mass and density are above
    zero.
    """
    chosen = options or IntervalOptions()
    times = window_times(passes, chosen)
    result = interval_method_from_times(times, effective_mass_kg, density_kgm3, chosen)
    unknown = sum(one.direction == 0 for one in passes)
    if not unknown:
        return result
    plural = "" if unknown == 1 else "es"
    return replace(result, text=f"{result.text} {unknown} pass{plural} of unknown direction left out.")


def interval_method_from_times(
    times: Sequence[WindowTimes],
    effective_mass_kg: float,
    density_kgm3: float,
    options: IntervalOptions | None = None,
) -> IntervalMethod:
    """The same from times through windows of speed, however they were taken: a stopwatch will do.

    F_j = m_e 2Δv/Δt_j,  Δt_j = n/Σ(1/Δt_ji),  Δt_ji = 2/(1/Δt_out + 1/Δt_back)

    Then least squares over the windows, with and without the linear term. Units and return as in
    `interval_method`; u of an area is the larger of what the scatter about the curve and the scatter between
    pairs give. It holds neither mass nor density; a steady wind w goes into f0, as f2 w².
    """
    chosen = options or IntervalOptions()
    for name, value in (("effective_mass_kg", effective_mass_kg), ("density_kgm3", density_kgm3)):
        if not value > 0.0:
            raise ValueError(f"{name} must be above zero, got {value}")
    fitted = [window for window in times if len(window.pair_times_s) >= chosen.fewest_pairs]
    three = _fit(fitted, effective_mass_kg, _THREE_TERMS)
    two = _fit(fitted, effective_mass_kg, _TWO_TERMS)
    windows = tuple(_window(window, effective_mass_kg) for window in times)
    return IntervalMethod(
        windows=windows,
        three_term=None if three is None else _floats3(three.estimate),
        two_term=None if two is None else (float(two.estimate[0]), float(two.estimate[1])),
        scx_three_term=_area(three, fitted, effective_mass_kg, density_kgm3),
        scx_two_term=_area(two, fitted, effective_mass_kg, density_kgm3),
        text=_text(times, fitted, windows, chosen),
    )


def precision_factor(pairs: int) -> float:
    """Factor h of the precision: the published table for 3 to 20 pairs, else Student's t to one decimal."""
    if pairs < 2:
        raise ValueError(f"pairs: at least two make a scatter, got {pairs}")
    if STANDARD_PAIRS <= pairs <= 20:
        return _PRECISION_FACTORS[pairs - STANDARD_PAIRS]
    return round(float(scipy.stats.t.ppf(0.975, pairs - 1)), 1)


def precision(pair_times_s: Sequence[float]) -> float | None:
    """Statistical precision p = h s/(√n Δt) of n paired times [s], n - 1 in s; None for fewer than two."""
    n = len(pair_times_s)
    if n < 2:
        return None
    s = float(np.std(pair_times_s, ddof=1))
    return precision_factor(n) * s / (math.sqrt(n) * _harmonic_mean(pair_times_s))


def _harmonic_mean(times_s: Sequence[float]) -> float:
    return len(times_s) / math.fsum(1.0 / t for t in times_s)


def _window(window: WindowTimes, mass: float) -> IntervalWindow:
    """One-way times are shown with their own mean; they take no part in the fit."""
    paired = window.pair_times_s
    mean = _harmonic_mean(paired or (*window.times_out_s, *window.times_back_s))
    return IntervalWindow(
        speed_mps=window.speed_mps,
        times_out_s=window.times_out_s,
        times_back_s=window.times_back_s,
        mean_time_s=mean,
        precision=precision(paired),
        force_n=mass * 2.0 * window.half_window_mps / mean,
    )


def _pair_forces(window: WindowTimes, mass: float) -> FloatArray:
    return np.array([mass * 2.0 * window.half_window_mps / t for t in window.pair_times_s])


def _design(windows: Sequence[WindowTimes], powers: tuple[int, ...]) -> FloatArray:
    return polynomial_design([window.speed_mps for window in windows], powers)


def _fit(windows: Sequence[WindowTimes], mass: float, powers: tuple[int, ...]) -> LeastSquaresFit | None:
    """Least squares through the mean forces, with one window more than there are terms at least."""
    if len(windows) <= len(powers):
        return None
    forces = [float(np.mean(_pair_forces(window, mass))) for window in windows]
    return linear_least_squares(_design(windows, powers), forces)


def _area(fit: LeastSquaresFit | None, windows: Sequence[WindowTimes], mass: float, density: float) -> Estimate | None:
    if fit is None or fit.u is None:
        return None
    powers = _THREE_TERMS if fit.estimate.size == len(_THREE_TERMS) else _TWO_TERMS
    between, between_dof = _scatter_between_pairs(windows, mass, powers)
    about, about_dof = float(fit.u[-1]), fit.dof
    u, dof = (between, between_dof) if between > about else (about, about_dof)
    value = 2.0 * float(fit.estimate[-1]) / density
    area_u = 2.0 * u / density
    half = float(scipy.stats.t.ppf(0.975, dof)) * area_u
    return Estimate(value, area_u, value - half, value + half, "m²", "measured")


def _scatter_between_pairs(windows: Sequence[WindowTimes], mass: float, powers: tuple[int, ...]) -> tuple[float, int]:
    """Standard uncertainty of f2 from how the pairs differ, and its degrees of freedom.

    The mean force is the mean of the pairs' forces and f2 is linear in them, so each pair that crosses every
    window has an f2 of its own. Windows with different numbers of pairs are taken as independent.
    """
    weights = estimator_weights(_design(windows, powers))[-1]  # f2 = Σ w_j F_j
    forces = [_pair_forces(window, mass) for window in windows]
    counts = {len(column) for column in forces}
    if min(counts) < 2:
        return 0.0, 1
    if len(counts) == 1:
        own = weights @ np.array(forces)
        return float(np.std(own, ddof=1)) / math.sqrt(own.size), own.size - 1
    variances = [float(np.var(column, ddof=1)) / len(column) for column in forces]
    return math.sqrt(float(np.sum(weights**2 * variances))), min(counts) - 1


def _floats3(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _text(
    times: Sequence[WindowTimes],
    fitted: Sequence[WindowTimes],
    windows: Sequence[IntervalWindow],
    options: IntervalOptions,
) -> str:
    """What was done and what stands against it, for the page."""
    if not times:
        return "No pass goes through a whole speed window, so the interval method has nothing to time."
    if not any(window.pair_times_s for window in times):
        return (
            "All passes ran the same way: without opposite passes wind and grade stay in the times, "
            "so the interval method gives no area."
        )
    if len(fitted) <= len(_TWO_TERMS):
        return (
            f"Only {len(fitted)} speed windows are crossed by {options.fewest_pairs} or more pairs of "
            f"opposite passes; two terms need {len(_TWO_TERMS) + 1}, three need {len(_THREE_TERMS) + 1}."
        )
    return " ".join(_remarks(times, fitted, windows, options))


def _remarks(
    times: Sequence[WindowTimes],
    fitted: Sequence[WindowTimes],
    windows: Sequence[IntervalWindow],
    options: IntervalOptions,
) -> list[str]:
    pairs = [len(window.pair_times_s) for window in fitted]
    several = f"{min(pairs)}" if min(pairs) == max(pairs) else f"{min(pairs)} to {max(pairs)}"
    low, high = fitted[0].speed_mps / KMH, fitted[-1].speed_mps / KMH
    half = fitted[0].half_window_mps / KMH
    remarks = [f"{several} pairs through {len(fitted)} windows of ±{half:g} km/h, {low:.0f} to {high:.0f} km/h."]
    if len(fitted) <= len(_THREE_TERMS):
        remarks.append("Too few windows for three terms.")
    if min(pairs) < STANDARD_PAIRS:
        remarks.append(f"The published procedure asks for {STANDARD_PAIRS} pairs at least.")
    wide = [w.speed_mps / KMH for w in windows if w.precision is not None and w.precision > options.precision_limit]
    if wide:
        speeds = ", ".join(f"{speed:.0f}" for speed in wide)
        remarks.append(
            f"Precision p above {options.precision_limit:g} at {speeds} km/h: the published procedure would "
            "ask for more pairs there."
        )
    left_over = sum(abs(len(window.times_out_s) - len(window.times_back_s)) for window in times)
    if left_over:
        remarks.append(f"{left_over} times without a partner in the other direction were left out.")
    return remarks
