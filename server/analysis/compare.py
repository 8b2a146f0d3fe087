"""Setups of a day against one of them: each difference alone, and all of them judged together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull
from scipy.special import ndtr

from server.analysis.compared import (
    LEAST_OVER_TWO,
    LEAST_SETTINGS,
    NORMAL_95,
    Compared,
    Difference,
    Surface,
    Varied,
)
from server.analysis.estimates import SEEN_FACTOR
from server.analysis.result import DayResult, Joint
from server.errors import StillairError
from server.inference.response import Response, fit_response, optimum, region, shape
from server.inference.simultaneous import simultaneous
from server.testday.values import FloatArray

CURVE_POINTS = 101
SURFACE_POINTS = 41  # each way
NOT_TOLD = "This result tells {quantity} of no two setups together; fit the day again."
FEW_OVER_TWO = (
    "A surface over two settings needs {least} setups at different places, not on one line or ellipse; this day has"
    " {setups}."
)
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


def surface_over(
    result: DayResult, quantity: str, settings: tuple[str, str], at: Mapping[str, tuple[float, float]]
) -> Surface:
    """The quantity over two settings that were varied: a quadratic surface through the setups, from their joint
    posterior, drawn and judged within the convex hull of what was tried.

    at: setup → both numbers. Raises StillairError where too few places differ.
    """
    joint = _joint(result, quantity)
    used = [i for i, name in enumerate(joint.setups) if name in at]
    places = np.array([at[joint.setups[i]] for i in used], float)
    covariance = joint.covariance[np.ix_(used, used)]
    try:
        found = fit_response(places, joint.values[used], covariance)
    except ValueError:
        raise StillairError(FEW_OVER_TWO.format(least=LEAST_OVER_TWO, setups=len(used))) from None
    line = np.linspace(-1.0, 1.0, SURFACE_POINTS)
    x, y = (found.centre[k] + found.scale[k] * line for k in (0, 1))
    grid = np.stack([axis.ravel() for axis in np.meshgrid(x, y)], axis=1)
    value, u = found.value(grid)
    tried = _tried(places, grid, found)
    bend = shape(found)
    best = None if bend.bend == "saddle" else optimum(found, bend.bend)
    hit = best is not None and best.setting is not None and bool(_tried(places, best.setting[None], found)[0])

    def square(numbers: FloatArray) -> FloatArray:
        return np.where(tried, numbers, np.nan).reshape(SURFACE_POINTS, SURFACE_POINTS)

    return Surface(
        quantity=quantity,
        settings=settings,
        setups=tuple(joint.setups[i] for i in used),
        at=places,
        values=joint.values[used],
        u=np.sqrt(np.diag(covariance)),
        x=x,
        y=y,
        surface=square(value),
        surface_u=square(u),
        region=square(region(found, grid).astype(float)),
        shape=bend,
        lack_p=found.lack_p,
        best=best,
        inside=hit,
    )


def _tried(places: FloatArray, points: FloatArray, found: Response) -> NDArray[np.bool_]:
    """Which points lie within the convex hull of the places, a thousandth of their range beyond it included."""
    hull = ConvexHull((places - found.centre) / found.scale)
    sides = ((points - found.centre) / found.scale) @ hull.equations[:, :2].T + hull.equations[:, 2]
    return np.asarray(np.all(sides <= 1e-3, axis=1))


def _joint(result: DayResult, quantity: str) -> Joint:
    joint = result.joint.get(quantity)
    if joint is None or len(joint.setups) < 2:
        raise StillairError(NOT_TOLD.format(quantity=quantity))
    return joint
