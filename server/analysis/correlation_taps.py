"""Pressure coefficients measured at named taps beside those that were predicted there."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from server.analysis.correlated import NORMAL_95, Correlated, Heights, MeasuredTap
from server.analysis.correlation import judge
from server.analysis.correlation_match import HEIGHT_SCALE_M, NUMERICAL_REL_U, SCALE, place_of_heights
from server.analysis.result import Estimate
from server.inference.scattered import hull_distance, tell_at
from server.testday.predicted import TapCase

CP = "Cp"
UNVARIED_PER_M = 6.0  # share of the taps' range by a height that no case varies, one u (common practice, no source)


def correlate_taps(
    measured: Sequence[MeasuredTap], predicted: Sequence[TapCase], setup: str, at: Heights, share: float
) -> tuple[Correlated, ...]:
    """Every tap of a setup that was measured and predicted, in the order in which they were measured.

    The margin is a share of the range of the setup's measured Cp: a Cp near zero has no share of itself. Runs are
    averaged; what they scatter by adds to their u, which no number of runs shrinks.
    """
    told = _over_runs([one for one in measured if one.setup == setup])
    if not told:
        return ()
    values = [value for value, _ in told.values()]
    extent = (max(values) - min(values)) or max(abs(value) for value in values)
    found = []
    for tap, (value, u) in told.items():
        cases = [case for case in predicted if case.setup == setup and case.tap == tap]
        if cases:
            estimate = Estimate(value, u, value - NORMAL_95 * u, value + NORMAL_95 * u, "", "measured")
            found.append(_held(tap, estimate, cases, at, share * extent, extent))
    return tuple(found)


def _over_runs(taps: Sequence[MeasuredTap]) -> dict[str, tuple[float, float]]:
    """Tap → mean Cp and its u."""
    found = {}
    for tap in dict.fromkeys(one.tap for one in taps):
        cps = np.array([one.cp for one in taps if one.tap == tap])
        own = float(np.mean([one.u for one in taps if one.tap == tap]))
        scatter = float(np.std(cps, ddof=1)) / math.sqrt(cps.size) if cps.size > 1 else 0.0
        found[tap] = (float(np.mean(cps)), math.hypot(own, scatter))
    return found


def _held(  # noqa: PLR0917 - what a verdict is made of
    tap: str, measured: Estimate, cases: Sequence[TapCase], at: Heights, margin: float, extent: float
) -> Correlated:
    values = np.array([case.cp for case in cases])
    stated = all(case.u > 0.0 for case in cases)
    num = np.array([case.u or NUMERICAL_REL_U * extent for case in cases])
    notes = () if stated else ("nobody stated a numerical uncertainty of Cp; 2 % of their range was taken",)
    heighted = any(case.front_ride_height_m is not None or case.rear_ride_height_m is not None for case in cases)
    if at.front is None or at.rear is None or not heighted:
        spread = float(np.std(values, ddof=1)) if values.size > 1 else 0.0
        return _judged(tap, measured, (float(np.mean(values)), float(np.mean(num)), 0.0, spread), margin, notes)
    here = np.array([at.front.value, at.rear.value, 0.0])
    places = np.array([place_of_heights(one.front_ride_height_m, one.rear_ride_height_m, one.yaw_rad, here)
                       for one in cases])  # fmt: skip
    if hull_distance(places, here / SCALE) > 1.0:
        why = (*notes, "the car ran outside the ride heights of the cases")
        return _judged(tap, measured, None, margin, why)
    told = tell_at(places, values, here / SCALE)
    heights_u = np.array([at.front.u, at.rear.u])
    slope = float(np.linalg.norm(told.gradient[:2] / HEIGHT_SCALE_M * heights_u))
    varied = told.varied >= 2
    loose = 0.0 if varied else UNVARIED_PER_M * extent * math.hypot(told.unvaried * HEIGHT_SCALE_M, *heights_u)
    u_num = float(np.abs(told.weights) @ num / np.sum(np.abs(told.weights)))
    return _judged(tap, measured, (told.value, u_num, told.u, math.hypot(slope, loose)), margin, notes)


def _judged(
    tap: str, measured: Estimate, told: tuple[float, float, float, float] | None, margin: float, notes: tuple[str, ...]
) -> Correlated:
    """told: value, u of the mesh, between the cases, of the ride heights; None where it would be extrapolated."""
    if told is None:
        return Correlated(tap, CP, "", measured, None, 0.0, 0.0, 0.0, margin, "extrapolated", notes=notes)
    value, u_num, u_fit, u_input = told
    u_val = math.hypot(u_num, u_fit, u_input, measured.u)
    verdict, beyond = judge(value - measured.value, u_val, margin)
    return Correlated(tap, CP, "", measured, value, u_num, u_fit, u_input, margin, verdict, beyond, notes=notes)
