"""Setups against a baseline over the days of a season: joint results of days combined, the day a random effect."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.compared_days import (
    OF_THE_DAY,
    ComparedDays,
    OneDay,
    OverDaysDifference,
    ResultOfDay,
    Spread,
)
from server.errors import StillairError
from server.inference.day_effects import DayTold, day_effects, own_and_shared
from server.inference.effects_told import Told, apart_p, sd_of, spread_p, together, told
from server.inference.sample_size import pairs_for_power, pairs_for_u95
from server.inference.simultaneous import holm
from server.testday.values import FloatArray

OLD = "its result was kept before setups were told together: fit it again"
NOTHING = "it measured {quantity} of none of them"
UNSPLIT = "its result does not say what of u other days share: fit it again"
NO_BASELINE = "No chosen day measured {quantity} of {name}: choose another baseline, or more days."
NO_CHANGE = "No chosen day measured {quantity} of a setup other than {name}: choose more days."


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    """A day that tells something, the setups that it measured by their names over the days, in order."""

    day: ResultOfDay
    names: tuple[str, ...]
    values: FloatArray
    covariance: FloatArray
    loads: tuple[dict[str, float], ...]


def compare_days(days: Sequence[ResultOfDay], quantity: str, baseline: str, wanted_u95: float) -> ComparedDays:
    """Differences to the baseline from all days that measured any of the setups.

    How the days' shared errors enter: each day's joint covariance is split by its budget into what other days share,
    Σ_k L_sk L_tk over the stated inputs k, and its own. An input of the whole car (mass, speed scale, air) moves
    areas in proportion, L_s ∝ SCx_s, and leaves |Δ| u_k/SCx in a difference; a downforce that was stated for each
    setup is an input of each, and leaves c0 √2 u(SCz).

    Raises StillairError where the baseline or every other setup was measured on none of the days.
    """
    kept, left_out, unit = _kept(days, quantity)
    names = list(dict.fromkeys(name for one in kept for name in one.names))
    if baseline not in names:
        raise StillairError(NO_BASELINE.format(quantity=quantity, name=baseline))
    others = [name for name in names if name != baseline]
    if not others:
        raise StillairError(NO_CHANGE.format(quantity=quantity, name=baseline))
    inputs = list(dict.fromkeys(label for one in kept for load in one.loads for label in load))
    single = [_day_told(one, names, inputs) for one in kept]
    effects = day_effects(single, len(names))
    weights = np.zeros((len(others), len(names)))
    weights[np.arange(len(others)), [names.index(name) for name in others]] = 1.0
    weights[:, names.index(baseline)] = -1.0
    alone = [told(effects, row) for row in weights]
    judged = together(effects, weights, alone)
    own = Spread(*sd_of(effects.own_sd, effects.shares))
    found = [_parts(kept, single, name, baseline, row) for name, row in zip(others, weights, strict=True)]
    differences = tuple(
        _difference(name, one, (judged.factor, float(p)), of_days, (own.value, wanted_u95))
        for name, one, p, of_days in zip(others, alone, judged.p, _apart_together(found), strict=True)
    )
    between = Spread(*sd_of(effects.between_sd, effects.shares))
    lies = spread_p(single, len(names))
    return ComparedDays(
        quantity, unit, baseline, judged.factor, differences, len(kept), between, own, lies, tuple(left_out)
    )


def _kept(days: Sequence[ResultOfDay], quantity: str) -> tuple[list[_Kept], list[tuple[str, str]], str]:
    kept, left_out, unit = [], [], ""
    for day in days:
        joint = day.result.joint.get(quantity)
        if not day.result.joint:
            left_out.append((day.words, OLD))
            continue
        names = [name for name, called in day.setups.items() if joint and called in joint.setups]
        if joint is None or not names:
            left_out.append((day.words, NOTHING.format(quantity=quantity)))
            continue
        loads = [shared_loads(day, day.setups[name], quantity) for name in names]
        if not all(loads):
            left_out.append((day.words, UNSPLIT))
            continue
        at = [joint.setups.index(day.setups[name]) for name in names]
        covariance = joint.covariance[np.ix_(at, at)]
        kept.append(_Kept(day, tuple(names), joint.values[at], covariance, tuple(loads)))
        unit = joint.unit
    return kept, left_out, unit


def shared_loads(day: ResultOfDay, setup: str, quantity: str) -> dict[str, float]:
    """How the errors that days share move a setup's quantity: input → signed contribution; empty without a budget.

    What stands in a budget as several numbers known together (speed scale, undulation) has no sign: one scale and one
    straight move all setups alike.
    """
    of = next(one for one in day.result.setups if one.name == setup)
    lines = [line for line in of.budget if line.quantity == quantity]
    shared = [line for line in lines if line.type == "B" and line.input not in OF_THE_DAY]
    return {line.input: math.copysign(line.contribution, line.sensitivity or 1.0) for line in shared}


def _day_told(one: _Kept, names: Sequence[str], inputs: Sequence[str]) -> DayTold:
    loads = np.array([[load.get(label, 0.0) for label in inputs] for load in one.loads])
    return DayTold(tuple(names.index(name) for name in one.names), one.values, one.covariance, loads)


def _parts(
    kept: Sequence[_Kept], single: Sequence[DayTold], setup: str, baseline: str, weights: FloatArray
) -> list[OneDay]:
    """What each day tells of one difference; days that ran neither are left out."""
    found = []
    for place, one in enumerate(kept):
        ran = [name for name in (setup, baseline) if name in one.names]
        if len(ran) == 1:
            found.append(OneDay(one.day.key, one.day.words, ran[0]))
        elif ran:
            contrast = np.array([float(name == setup) - float(name == baseline) for name in one.names])
            value, u = float(contrast @ one.values), float(np.sqrt(contrast @ one.covariance @ contrast))
            own, _ = own_and_shared(single[place].covariance, single[place].shared)
            others = [each for number, each in enumerate(single) if number != place]
            apart = _apart(others, weights, value, float(contrast @ own @ contrast))
            found.append(OneDay(one.day.key, one.day.words, "", value, u, apart))
    return found


def _apart(others: Sequence[DayTold], weights: FloatArray, value: float, own_variance: float) -> float | None:
    """None where the other days do not tell the difference within a day."""
    needed = {int(place) for place in np.flatnonzero(weights)}
    if not any(needed <= set(day.places) for day in others):
        return None
    told_by = sorted({place for day in others for place in day.places})
    anew = [replace(day, places=tuple(told_by.index(place) for place in day.places)) for day in others]
    return apart_p(day_effects(anew, len(told_by)), weights[told_by], value, own_variance)


def _apart_together(parts: Sequence[list[OneDay]]) -> list[tuple[OneDay, ...]]:
    """The same with every p corrected for the number of days that were looked at (Holm)."""
    found = [one.apart_p for days in parts for one in days if one.apart_p is not None]
    corrected = iter(holm(found).tolist())
    return [
        tuple(one if one.apart_p is None else replace(one, apart_p=next(corrected)) for one in days) for days in parts
    ]


def _difference(
    name: str, one: Told, judged: tuple[float, float], days: tuple[OneDay, ...], aims: tuple[float, float]
) -> OverDaysDifference:
    """judged: factor of the joint intervals, p among so many; aims: how a setup differs from day to day, wanted U95."""
    own_sd, wanted_u95 = aims
    seen = [day.u for day in days if day.value is not None]
    pair_sd = math.sqrt(2.0 * own_sd**2 + max(float(np.median(seen)) ** 2 - one.shared_u**2, 0.0)) if seen else 0.0
    unsure = abs(one.value) <= judged[0] * one.u95
    return OverDaysDifference(
        setup=name,
        value=one.value,
        u=one.u,
        u95=one.u95,
        u95_all=judged[0] * one.u95,
        p=one.p,
        p_all=judged[1],
        smallest_seen=one.smallest_seen,
        shared_u=one.shared_u,
        days=days,
        days_wanted=pairs_for_u95(pair_sd, wanted_u95, one.shared_u) if seen and one.u95 > wanted_u95 else None,
        days_told=pairs_for_power(one.value / pair_sd) if pair_sd > 0.0 and one.value and unsure else None,
    )
