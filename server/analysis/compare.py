"""Setups of a day against one of them: each difference alone, and all of them judged together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.special import ndtr

from server.analysis.compared import LEAST_SETTINGS, NORMAL_95, Compared, Difference, Varied
from server.analysis.estimates import SEEN_FACTOR
from server.analysis.result import DayResult, Joint
from server.errors import StillairError
from server.inference.response import fit_response, optimum
from server.inference.simultaneous import simultaneous

CURVE_POINTS = 101
NOT_TOLD = "This result tells {quantity} of no two setups together; fit the day again."
NO_BASELINE = "Setup {name} has no {quantity} on this day, so nothing can be held against it."


def compare(result: DayResult, quantity: str, baseline: str) -> Compared:
    """Differences from the joint posterior of a day, with Dunnett's correction for their number.

    Raises StillairError where the result does not tell the quantity of the baseline and another setup.
    """
    joint = _joint(result, quantity)
    if baseline not in joint.setups:
        raise StillairError(NO_BASELINE.format(name=baseline, quantity=quantity))
    at = joint.setups.index(baseline)
    others = [i for i in range(len(joint.setups)) if i != at]
    contrast = np.zeros((len(others), len(joint.setups)))
    contrast[np.arange(len(others)), others] = 1.0
    contrast[:, at] = -1.0
    values, covariance = contrast @ joint.values, contrast @ joint.covariance @ contrast.T
    together = simultaneous(list(values), covariance)
    u = np.sqrt(np.diag(covariance))
    p = 2.0 * ndtr(-np.abs(values) / u)
    shared = 0.5 * (np.diag(joint.covariance)[others] + joint.covariance[at, at] - u**2)
    differences = tuple(
        Difference(
            joint.setups[other],
            *(float(one) for one in (values[i], u[i], values[i] - NORMAL_95 * u[i], values[i] + NORMAL_95 * u[i])),
            *(float(one) for one in (together.low[i], together.high[i], p[i], together.p[i])),
            *(float(one) for one in (SEEN_FACTOR * u[i], np.sqrt(max(shared[i], 0.0)))),
        )
        for i, other in enumerate(others)
    )
    return Compared(quantity, baseline, joint.unit, together.factor, differences)


def response_over(result: DayResult, quantity: str, setting: str, at: Mapping[str, float]) -> Varied:
    """The quantity over a setting that was varied: a quadratic through the setups, from their joint posterior.

    at: setup → number, as `varied_settings` gives it. Raises StillairError where too few settings differ.
    """
    joint = _joint(result, quantity)
    used = [i for i, name in enumerate(joint.setups) if name in at]
    x = np.array([at[joint.setups[i]] for i in used], float)
    covariance = joint.covariance[np.ix_(used, used)]
    try:
        found = fit_response(x[:, None], joint.values[used], covariance)
    except ValueError:
        different = len(set(x.tolist()))
        raise StillairError(f"A curve needs {LEAST_SETTINGS} different settings; this day has {different}.") from None
    line = found.centre + found.scale * np.linspace(-1.0, 1.0, CURVE_POINTS)[:, None]
    return Varied(
        quantity,
        setting,
        tuple(joint.setups[i] for i in used),
        x,
        joint.values[used],
        np.sqrt(np.diag(covariance)),
        (line[:, 0], *found.value(line)),
        found.lack_p,
        optimum(found, "largest"),
        optimum(found, "smallest"),
    )


def _joint(result: DayResult, quantity: str) -> Joint:
    joint = result.joint.get(quantity)
    if joint is None or len(joint.setups) < 2:
        raise StillairError(NOT_TOLD.format(quantity=quantity))
    return joint
