"""Measured beside predicted, like for like: totals of each setup, and changes against its baseline."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from server.analysis.correlated import (
    NORMAL_95,
    QUANTITIES,
    Correlated,
    DayCorrelation,
    Margins,
    Silent,
    Verdict,
)
from server.analysis.correlation_heights import setup_heights
from server.analysis.correlation_match import (
    Predicted,
    PredictedSetup,
    predicted_quantity,
    predicted_setups,
)
from server.analysis.result import DayResult, Estimate, SetupResult
from server.testday.values import Day, PredictionCase, Setup

AXLES_OF = {
    "SCz_front": ("front",),
    "SCz_rear": ("rear",),
    **dict.fromkeys(("SCz", "balance_front", "LD"), ("front", "rear")),
}
NO_SENSOR = {
    "typed": "the day's {name} was typed in, not measured: a typed value gives no verdict",
    "predicted": "the day's {name} is the prediction itself, not a measurement: it gives no verdict",
    "default": "nothing measured {name} on this day",
}
RESTS = (
    "Drag of setup {names} was parted from the tyres' rolling loss with a downforce that is no measurement; its u holds"
    " what that costs."
)


def correlate_day(
    result: DayResult,
    day: Day,
    cases: Sequence[PredictionCase] | None = None,
    margins: Margins | None = None,
    baselines: Mapping[str, str] | None = None,
) -> DayCorrelation:
    """Hold a day's result against predictions.

    cases: the day's own where none are given; baselines: setup → baseline of its change, the result's own comparisons
    where none are given.
    """
    allowed = margins or Margins()
    given = day.predictions if cases is None else cases
    if not given:
        return DayCorrelation((), (), (), {}, allowed)
    heights = setup_heights(result, day)
    predicted = predicted_setups(given, heights, day.reference_speed_mps)
    setups = {setup.name: setup for setup in day.setups}
    totals: list[Correlated] = []
    silent: list[Silent] = []
    for one in result.setups:
        if one.name in predicted:
            judged, mute = _totals(one, setups.get(one.name), predicted[one.name], allowed)
            totals += judged
            silent += mute
    against = dict(baselines) if baselines is not None else {c.setup: c.baseline for c in result.comparisons}
    changes = _changes(result, totals, predicted, against, cases=given, margins=allowed)
    used = {name: at for name, at in heights.items() if name in predicted}
    told = _told(result, setups, predicted)
    return DayCorrelation(tuple(totals), tuple(changes), tuple(silent), used, allowed, told)


def judge(error: float, u_val: float, margin: float) -> tuple[Verdict, bool]:
    """The verdict of E ± 1.96 u_val against ± margin, and whether the interval lies outside the margin all over.

    Inside the margin: agrees; else wholly on one side of zero: prediction high or low; else the data cannot tell.
    """
    low, high = error - NORMAL_95 * u_val, error + NORMAL_95 * u_val
    beyond = low > margin or high < -margin
    if -margin <= low and high <= margin:
        return "agrees", False
    if low > 0.0:
        return "prediction-high", beyond
    return ("prediction-low", beyond) if high < 0.0 else ("cannot-tell", False)


def not_measured(setup: SetupResult, quantity: str, stated: Setup | None = None) -> str:
    """Why a quantity is no measurement, or nothing: loads must have been measured on the axles that it is made of.

    A prior that was typed or predicted never counts, however far the data narrowed it.
    """
    estimate = setup.estimates.get(quantity)
    if estimate is None or not (math.isfinite(estimate.value) and math.isfinite(estimate.u)):
        return f"this day tells no {quantity}"
    loaded = {load.axle for fit in setup.fits for load in fit.loads}
    bare = [end for end in AXLES_OF.get(quantity, ()) if setup.fits and end not in loaded]
    if not bare and estimate.source == "measured":
        return ""
    source = estimate.source
    if source == "measured":
        typed = stated is not None and (stated.scz_front_m2 or stated.scz_rear_m2) is not None
        source = "typed" if typed else "predicted"
    return NO_SENSOR[source].format(name=quantity)


def _totals(
    one: SetupResult, stated: Setup | None, predicted: PredictedSetup, margins: Margins
) -> tuple[list[Correlated], list[Silent]]:
    totals, silent = [], []
    for quantity in QUANTITIES:
        told = predicted_quantity(predicted, quantity)
        if told is None:
            continue
        why = not_measured(one, quantity, stated)
        if why:
            silent.append(Silent(one.name, quantity, why))
            continue
        measured = one.estimates[quantity]
        totals.append(_held(one.name, quantity, measured, told, share=margins.total))
    return totals, silent


def _held(
    setup: str, quantity: str, measured: Estimate, told: Predicted, *, share: float, against: str | None = None
) -> Correlated:
    margin = share * abs(measured.value)
    verdict: Verdict = "extrapolated"
    beyond = False
    if told.value is not None:
        u_val = math.hypot(told.u_num, told.u_fit, told.u_input, measured.u)
        verdict, beyond = judge(told.value - measured.value, u_val, margin)
    notes = (*told.notes, told.extrapolated) if told.extrapolated else told.notes
    return Correlated(
        setup, quantity, measured.unit, measured, told.value, told.u_num, told.u_fit, told.u_input,
        margin, verdict, beyond, against, told.how, notes,
    )  # fmt: skip


def _changes(
    result: DayResult,
    totals: Sequence[Correlated],
    predicted: Mapping[str, PredictedSetup],
    against: Mapping[str, str],
    *,
    cases: Sequence[PredictionCase],
    margins: Margins,
) -> list[Correlated]:
    """Changes of every quantity that both setups measured and somebody predicted of both."""
    measured = {(one.setup, one.quantity) for one in totals}
    found = []
    for setup, baseline in against.items():
        rho = margins.numerical_correlation if _one_recipe(cases, setup, baseline) else 0.0
        for quantity in QUANTITIES:
            if not {(setup, quantity), (baseline, quantity)} <= measured:
                continue
            change = measured_change(result, setup, baseline, quantity)
            ours, theirs = (predicted_quantity(predicted[name], quantity) for name in (setup, baseline))
            if change is not None and ours is not None and theirs is not None:
                told = _difference(ours, theirs, rho)
                found.append(_held(setup, quantity, change, told, share=margins.change, against=baseline))
    return found


def measured_change(result: DayResult, setup: str, baseline: str, quantity: str) -> Estimate | None:
    """Setup less baseline from the day's joint posterior; None where they were not told together."""
    joint = result.joint.get(quantity)
    if joint is not None and {setup, baseline} <= set(joint.setups):
        i, j = joint.setups.index(setup), joint.setups.index(baseline)
        value, v = float(joint.values[i] - joint.values[j]), joint.covariance
        u = float(np.sqrt(max(v[i, i] + v[j, j] - 2.0 * v[i, j], 0.0)))
        return Estimate(value, u, value - NORMAL_95 * u, value + NORMAL_95 * u, joint.unit, "measured")
    for one in result.comparisons:
        delta = one.deltas.get(quantity)
        if (one.setup, one.baseline) == (setup, baseline) and delta is not None:
            return Estimate(delta.value, delta.u, delta.low95, delta.high95, delta.unit, "measured")
    return None


def _difference(ours: Predicted, theirs: Predicted, rho: float) -> Predicted:
    """The predicted change: numerical errors correlated by rho, all else independent."""
    why = ours.extrapolated or theirs.extrapolated
    notes = tuple(dict.fromkeys((*ours.notes, *theirs.notes)))
    if ours.value is None or theirs.value is None:
        return Predicted(None, 0.0, 0.0, 0.0, ours.how, notes, why)
    said = f"numerical errors of the two cases taken as correlated by {rho:.2g}" if rho else (
        "numerical errors of the two cases taken as independent"
    )  # fmt: skip
    num2 = ours.u_num**2 + theirs.u_num**2 - 2.0 * rho * ours.u_num * theirs.u_num
    return Predicted(
        ours.value - theirs.value,
        math.sqrt(max(num2, 0.0)),
        math.hypot(ours.u_fit, theirs.u_fit),
        math.hypot(ours.u_input, theirs.u_input),
        ours.how,
        (*notes, said),
    )


def _one_recipe(cases: Sequence[PredictionCase], setup: str, baseline: str) -> bool:
    """Whether the cases of both setups were made the same way."""
    sources = [{case.source for case in cases if case.setup == name and not case.part} for name in (setup, baseline)]
    return sources[0] == sources[1] and len(sources[0]) == 1


def _told(
    result: DayResult, setups: Mapping[str, Setup], predicted: Mapping[str, PredictedSetup]
) -> tuple[str, ...]:
    """What holds for the whole correlation."""
    resting = [
        one.name
        for one in result.setups
        if one.name in predicted and "SCx" in one.estimates and not_measured(one, "SCz", setups.get(one.name))
    ]
    return (RESTS.format(names=", ".join(resting)),) if resting else ()
