"""Do verdicts and biases hold? Seasons whose predictions are wrong by a known share, measured with known errors.

Each season is drawn whole: setups, what CFD truly says of them, its mesh's error, cases round ride heights that nobody
knows quite, and measurements whose errors setups share in part. It then goes through the product's own correlation.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from server.analysis.correlated import Correlated
from server.analysis.correlation import correlate_day
from server.analysis.correlation_across import across, day_pairs
from server.testday.values import PredictionCase
from tests.analysis.correlated_days import AREAS, HEIGHT_U, case, measured_day
from tests.studies.statistics import clopper_pearson

SETUPS = (3, 4, 6, 10)
SCATTERS = (0.0, 0.03)
BIASES = (0.0, 0.05, -0.08)
MESH_REL_U, CASE_NOISE = 0.01, 0.002
STALLS = 1.5  # a height changes an area by up to so many per cent a millimetre


@dataclass(frozen=True, slots=True)
class Season:
    """How a season is drawn: setups, true bias of the predictions, their scatter, u of the measurements."""

    seed: int
    setups: int
    bias: float
    scatter: float
    rel_u: float
    shared: float


@dataclass(frozen=True, slots=True)
class Told:
    """What one season's correlation said of one area. held: bias, factor, slope in their intervals; None: not told.

    verdicts: (verdict, true E/D, margin as a share) of every total; of every change in changes.
    """

    season: Season
    bias_held: bool | None
    factor_held: bool | None
    slope_held: bool | None
    verdicts: tuple[tuple[str, float, float], ...]
    changes: tuple[tuple[str, float, float], ...]


def seasons(count: int, first_seed: int) -> Iterator[Season]:
    """Every number of setups, bias and scatter in turn; how well they were measured is drawn."""
    for seed in range(first_seed, first_seed + count):
        rng = np.random.default_rng([seed, 1])
        i = seed - first_seed
        yield Season(
            seed, SETUPS[i % 4], BIASES[(i // 4) % 3], SCATTERS[(i // 12) % 2],
            float(rng.choice([0.008, 0.02, 0.04])), float(rng.choice([0.2, 0.6])),
        )  # fmt: skip


def told_by(season: Season) -> list[Told]:
    """Draw a season and hold it against its predictions."""
    rng = np.random.default_rng(season.seed)
    names = [chr(ord("A") + i) for i in range(season.setups)]
    base = np.array([1.42, 1.55, 1.75])
    truth = {name: base * rng.uniform(0.85, 1.15, 3) for name in names}
    model = {name: 1.0 + season.bias + season.scatter * rng.standard_normal(3) for name in names}
    heights = {name: (rng.uniform(0.024, 0.028), rng.uniform(0.028, 0.032)) for name in names}
    cases = [one for name in names for one in _cases(name, truth[name] * model[name], heights[name], rng)]
    read = {name: tuple(h + HEIGHT_U * rng.standard_normal() for h in at) for name, at in heights.items()}
    day, result = measured_day(
        truth, rel_u=season.rel_u, shared=season.shared, heights_m=read, rng=rng  # type: ignore[arg-type]
    )  # fmt: skip
    found = correlate_day(result, day, cases)
    return [_told(season, area, k, found, result, truth, model) for k, area in enumerate(AREAS)]


def _cases(
    name: str, areas: np.ndarray, at: tuple[float, float], rng: np.random.Generator
) -> list[PredictionCase]:
    """Nine cases round the car's true heights: a slope, a bend, the mesh's own error, and a little noise of each."""
    slope, bend = rng.uniform(-STALLS, STALLS, 2) / 100.0, rng.uniform(-0.1, 0.1) / 100.0
    mesh = 1.0 + MESH_REL_U * rng.standard_normal(3)

    def shape(front_mm: float, rear_mm: float) -> float:
        step = np.array([front_mm, rear_mm]) - 1e3 * np.array(at)
        return float(1.0 + slope @ step + bend * step[0] ** 2)

    return [
        replace(
            case(name, f, r, areas * mesh * shape(f, r) * (1.0 + CASE_NOISE * rng.standard_normal(3)),
                 rel_u=MESH_REL_U), source="made up")
        for f in (22.0, 26.0, 30.0) for r in (26.0, 30.0, 34.0)
    ]  # fmt: skip


def _told(season, area, k, found, result, truth, model) -> Told:  # type: ignore[no-untyped-def]  # noqa: PLR0917
    together = across(day_pairs(result, found.totals, area))
    bias, factor, line = together.relative, together.factor, together.line
    held = None if bias is None else bool(bias.low95 <= season.bias <= bias.high95)
    inverse = 1.0 / (1.0 + season.bias)
    factor_held = None if factor is None else bool(factor.low95 <= inverse <= factor.high95)
    slope_held = None
    if line is not None and line.low95 is not None and line.high95 is not None:
        slope_held = bool(line.low95 <= 1.0 + season.bias <= line.high95)
    share = {name: float(model[name][k] - 1.0) for name in truth}
    true_e = {name: share[name] * float(truth[name][k]) for name in truth}
    totals = [one for one in found.totals if one.quantity == area]
    verdicts = tuple((one.verdict, share[one.setup], 0.05) for one in totals)
    changes = tuple(_change(one, truth, true_e, k) for one in found.changes if one.quantity == area)
    return Told(season, held, factor_held, slope_held, verdicts, changes)


def _change(
    one: Correlated, truth: dict[str, np.ndarray], true_e: dict[str, float], k: int
) -> tuple[str, float, float]:
    """A change's verdict, and its true error and margin in m²."""
    against = one.against or ""
    change = abs(float(truth[one.setup][k] - truth[against][k]))
    return one.verdict, true_e[one.setup] - true_e[against], 0.2 * change


def summary(told: Sequence[Told]) -> dict[str, Any]:
    """Shares with their 99 % bounds: intervals that held by stratum, false verdicts, power."""
    rows = [_row("all seasons", told)]
    rows += [_row(f"{n} setups", [one for one in told if one.season.setups == n]) for n in SETUPS]
    rows += [_row(f"scatter {100 * s:g} %", [one for one in told if one.season.scatter == s]) for s in SCATTERS]
    rows += [_row(f"bias {100 * b:+g} %", [one for one in told if one.season.bias == b]) for b in BIASES]
    verdicts = [each for one in told for each in one.verdicts]
    changes = [each for one in told for each in one.changes]
    return {
        "intervals": [row for row in rows if row["seasons"]],
        "totals": _verdict_shares(verdicts),
        "changes": _verdict_shares(changes),
        "power": [_power(told, bias, u) for bias in (0.05, -0.08) for u in (0.008, 0.02, 0.04)],
    }


def _row(name: str, told: Sequence[Told]) -> dict[str, Any]:
    return {
        "stratum": name, "seasons": len(told),
        **{key: _share([held for one in told if (held := getattr(one, key)) is not None])
           for key in ("bias_held", "factor_held", "slope_held")},
    }  # fmt: skip


def _share(held: Sequence[bool]) -> dict[str, float] | None:
    if not held:
        return None
    low, high = clopper_pearson(sum(held), len(held))
    return {"n": len(held), "share": sum(held) / len(held), "low99": low, "high99": high}


def _verdict_shares(verdicts: Sequence[tuple[str, float, float]]) -> dict[str, Any]:
    """False: said to be off where it truly is not at all, or to the wrong side; said to agree beyond the margin."""
    off = ("prediction-high", "prediction-low")
    exact = [(verdict, e) for verdict, e, _ in verdicts if e == 0.0]
    beyond = [verdict for verdict, e, margin in verdicts if abs(e) >= margin > 0.0]
    signed = [(verdict, e) for verdict, e, _ in verdicts if e != 0.0]
    return {
        "said off where exact": _share([verdict in off for verdict, _ in exact]),
        "wrong side": _share([verdict == off[0 if e < 0 else 1] for verdict, e in signed]),
        "said to agree beyond the margin": _share([verdict == "agrees" for verdict in beyond]),
    }


def _power(told: Sequence[Told], bias: float, rel_u: float) -> dict[str, Any]:
    """How often a bias without scatter is found, in single verdicts and in the bias of all setups."""
    of = [one for one in told if one.season.bias == bias and one.season.rel_u == rel_u and not one.season.scatter]
    side = "prediction-high" if bias > 0 else "prediction-low"
    return {
        "bias": bias, "measured_rel_u": rel_u,
        "verdicts": _share([verdict == side for one in of for verdict, _, _ in one.verdicts]),
    }  # fmt: skip


def text(found: dict[str, Any]) -> str:
    """The summary for a terminal."""
    lines = ["95 % intervals that held the truth (99 % bounds)"]
    for row in found["intervals"]:
        cells = ", ".join(f"{key[:-5]} {_written(row[key])}" for key in ("bias_held", "factor_held", "slope_held"))
        lines.append(f"  {row['stratum']:<14} {row['seasons']:>5} areas of seasons: {cells}")
    for kind in ("totals", "changes"):
        lines.append(f"False verdicts on {kind}")
        lines += [f"  {words}: {_written(share)}" for words, share in found[kind].items()]
    lines.append("Found by single verdicts")
    for row in found["power"]:
        of = f"bias {100 * row['bias']:+g} %, measured within u {100 * row['measured_rel_u']:g} %"
        lines.append(f"  {of}: {_written(row['verdicts'])}")
    return "\n".join(lines)


def _written(share: dict[str, float] | None) -> str:
    if share is None:
        return "none told"
    return f"{100 * share['share']:.1f} % ({100 * share['low99']:.1f} to {100 * share['high99']:.1f}) of {share['n']}"


def holds(found: dict[str, Any]) -> bool:
    """No stratum of intervals surely below 95 %, no false verdict surely more often than its 5 %."""
    intervals = [row[key] for row in found["intervals"] for key in ("bias_held", "factor_held", "slope_held")]
    low = any(share is not None and share["high99"] < 0.95 for share in intervals)
    false = [share for kind in ("totals", "changes") for share in found[kind].values() if share is not None]
    return not low and not any(share["low99"] > 0.05 for share in false)


def run(count: int, first_seed: int) -> dict[str, Any]:
    """Draw the seasons and sum up what their correlations said."""
    return summary([told for season in seasons(count, first_seed) for told in told_by(season)])
