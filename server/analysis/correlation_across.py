"""What all setups together say of the predictions: bias, scatter, slope, order, and the factor that would mend them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from server.analysis.correlated import Across, Correlated, Pairs
from server.analysis.result import DayResult, Joint
from server.inference.limits_of_agreement import limits_of_agreement
from server.inference.rank_order import rank_order
from server.inference.scatter_mean import CommonValue, common_value
from server.inference.two_error_line import scattered_line
from server.testday.values import FloatArray

LEAST_BIAS, LEAST_SLOPE, LEAST_LIMITS = 3, 4, 5
TOO_FEW_BIAS = "{n} setups: a bias of the method takes {least}, for one setup's own error cannot be told from it."
TOO_FEW_SLOPE = "{n} setups: a slope takes {least}, for a line through three passes near them whatever they are."
TOO_FEW_LIMITS = "{n} setups: limits of agreement take {least}; with fewer they are wider than the areas themselves."
ALIKE = "The setups differ too little, for how well they are known, to tell a slope: a line of any slope would fit."


def day_pairs(result: DayResult, totals: Sequence[Correlated], quantity: str) -> Pairs:
    """A quantity of the setups of one day, its covariance from the joint posterior."""
    told = [one for one in totals if one.quantity == quantity and one.predicted is not None]
    return pairs_of(told, quantity, {0: result.joint}, dict.fromkeys((one.setup for one in told), 0))


def pairs_of(
    told: Sequence[Correlated],
    quantity: str,
    joints: Mapping[int, Mapping[str, Joint]],
    day_of: Mapping[str, int],
    shared_u: Mapping[str, float] | None = None,
) -> Pairs:
    """A quantity of setups of several days.

    joints: day → what its result tells of several setups; day_of: setup → its day in joints; shared_u: setup → the
    part of its u that is one error on all days.
    Between setups of a day the covariance is that of the joint posterior; between days the product of what they share.
    """
    n = len(told)
    covariance = np.diag([one.measured.u**2 for one in told]) if n else np.zeros((0, 0))
    for i in range(n):
        for j in range(i):
            covariance[i, j] = covariance[j, i] = _covariance(told[i], told[j], joints, day_of, shared_u or {})
    return Pairs(
        quantity,
        told[0].unit if n else "",
        tuple(one.setup for one in told),
        np.array([one.measured.value for one in told]),
        covariance,
        np.array([one.predicted or 0.0 for one in told]),
        np.array([one.predicted_u for one in told]),
    )


def _covariance(
    one: Correlated,
    other: Correlated,
    joints: Mapping[int, Mapping[str, Joint]],
    day_of: Mapping[str, int],
    shared_u: Mapping[str, float],
) -> float:
    if day_of[one.setup] != day_of[other.setup]:
        return shared_u.get(one.setup, 0.0) * shared_u.get(other.setup, 0.0)
    joint = joints[day_of[one.setup]].get(one.quantity)
    if joint is None or not {one.setup, other.setup} <= set(joint.setups):
        return shared_u.get(one.setup, 0.0) * shared_u.get(other.setup, 0.0)
    i, j = joint.setups.index(one.setup), joint.setups.index(other.setup)
    bound = 0.999 * one.measured.u * other.measured.u
    return float(np.clip(joint.covariance[i, j], -bound, bound))


def across(pairs: Pairs) -> Across:
    """Bias, scatter, factor (from 3 setups), slope (from 4), limits of agreement (from 5), order (from 2)."""
    n, told = len(pairs.setups), []
    d, s, v = pairs.measured, pairs.predicted, pairs.covariance
    own = np.diag(pairs.predicted_u**2)
    bias = relative = factor = None
    if n >= LEAST_BIAS:
        bias = common_value(s - d, v + own)
        if np.all(d != 0.0) and np.all(s != 0.0):
            relative, factor = _relative(pairs), _factor(d, s, v, pairs.predicted_u)
    else:
        told.append(TOO_FEW_BIAS.format(n=n, least=LEAST_BIAS))
    line = scattered_line(d, s, v, own) if n >= LEAST_SLOPE and np.ptp(d) > 0.0 else None
    if line is None:
        told.append(TOO_FEW_SLOPE.format(n=n, least=LEAST_SLOPE))
    elif line.low95 is None:
        line = None
        told.append(ALIKE)
    limits = limits_of_agreement(s - d) if n >= LEAST_LIMITS else None
    if limits is None:
        told.append(TOO_FEW_LIMITS.format(n=n, least=LEAST_LIMITS))
    order = rank_order(d, s, v) if n >= 2 else None
    return Across(pairs, bias, relative, factor, line, limits, order, _left_out(pairs), tuple(told))


def _relative(pairs: Pairs) -> CommonValue:
    """E/D, with ∂(S/D) by S and by D."""
    d, s = pairs.measured, pairs.predicted
    by_d = s / d**2
    covariance = np.diag((pairs.predicted_u / d) ** 2) + np.outer(by_d, by_d) * pairs.covariance
    return common_value(s / d - 1.0, covariance)


def _factor(d: FloatArray, s: FloatArray, v: FloatArray, s_u: FloatArray) -> CommonValue:
    """D/S: measured errors over S, predicted ones times the factor."""
    mean = float(np.mean(d / s))
    return common_value(d / s, v / np.outer(s, s) + np.diag((mean * s_u / s) ** 2))


def _left_out(pairs: Pairs) -> tuple[float, float] | None:
    """RMS of the relative error before, and after correction by the factor of all other setups."""
    n, d, s = len(pairs.setups), pairs.measured, pairs.predicted
    if n <= LEAST_BIAS or np.any(d == 0.0) or np.any(s == 0.0):
        return None
    after = []
    for i in range(n):
        rest = np.arange(n) != i
        told = _factor(d[rest], s[rest], pairs.covariance[np.ix_(rest, rest)], pairs.predicted_u[rest])
        after.append(told.value * s[i] / d[i] - 1.0)
    return float(np.sqrt(np.mean((s / d - 1.0) ** 2))), float(np.sqrt(np.mean(np.square(after))))
