"""Differences of setups on days of baseline, change, baseline whose resistance, air and wind drift.

Are the intervals of the joint fit right, and is its u smaller than that of two fits that know nothing of each other?
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from tests.simulator import Scenario, draw_scenario
from tests.simulator.air import draw_air
from tests.simulator.day import STREAMS
from tests.simulator.schedule import plan_day
from tests.simulator.tyres import draw_tyre_law
from tests.simulator.wind import draw_slow_wind
from tests.studies.records import Claim, DayRecord
from tests.studies.report import RMS_Z_RANGE, STRATUM_FLOOR, STRATUM_LEAST_DAYS, judge_tally
from tests.studies.statistics import Tally, tally, usable
from tests.studies.strata import STRATA

COLUMNS = (
    "kind of day", "differences", "none", "held", "99 % bounds", "RMS(error/u)", "score (m²)", "RMS error (m²)",
    "RMS u (m²)", "days fitted apart", "u joint / u apart, median", "nine of ten", "larger", "held apart",
)  # fmt: skip
REQUIRED = ("calm", "gusty", "2 pairs", "4 pairs", "8 pairs", "tyres drift 2 % an hour or more", "nothing given")


def draw_compared_scenario(seed: int) -> Scenario:
    """A day of the usual mixture that ran two or three setups in the order A-B-A or A-B-A-C-A."""
    rng = np.random.default_rng([seed, 0xABA])
    return replace(
        draw_scenario(seed),
        setups=int(rng.choice([2, 3], p=[0.7, 0.3])),
        pairs=int(rng.choice([1, 2, 4, 8], p=[0.05, 0.4, 0.45, 0.1])),
    )


@dataclass(frozen=True, slots=True)
class Drift:
    """What moved while the day went on: c0 an hour and at the start of an outing (shares), air [K/h], head wind as
    its largest less its smallest over the day [m/s], length of the day [h]."""

    tyres_per_hour: float
    warm_up: float
    air_k_per_h: float
    wind_mps: float
    hours: float


def drift_of(seed: int, scenario: Scenario) -> Drift:
    """The drift of a drawn day, from the same streams that the day is drawn from."""
    seeds = np.random.SeedSequence(seed).spawn(len(STREAMS))
    rng = {name: np.random.default_rng(s) for name, s in zip(STREAMS, seeds, strict=True)}
    runs = plan_day(rng["plan"], scenario, rng["steady"])
    begin, end = runs[0].start_clock_s, runs[-1].start_clock_s + 600.0
    tyres, air = draw_tyre_law(rng["tyres"]), draw_air(rng["air"], begin)
    head, _ = draw_slow_wind(rng["wind"], scenario, begin, end).at(np.arange(begin, end, 60.0))
    hours = (end - begin) / 3600.0
    return Drift(tyres.per_hour, tyres.warm, air.warming_k_per_h, float(np.ptp(head)), hours)


DRIFTS: Mapping[str, Callable[[Drift], bool]] = {
    "tyres drift 2 % an hour or more": lambda d: abs(d.tyres_per_hour) >= 0.02,
    "tyres drift 3 % over the day or more": lambda d: abs(d.tyres_per_hour) * d.hours >= 0.03,
    "tyres warm up by 5 % or more": lambda d: d.warm_up >= 0.05,
    "air warms 1 K an hour or more": lambda d: d.air_k_per_h >= 1.0,
    "head wind moves by 1 m/s or more": lambda d: d.wind_mps >= 1.0,
    "day longer than two hours": lambda d: d.hours > 2.0,
}
KINDS = (
    "calm", "breezy", "gusty", "intermittent gusts, rough road", "1 pair", "2 pairs", "4 pairs", "8 pairs",
    "one way only", "priors given", "nothing given", "wheel and satellite", "only satellite", "only wheel",
    "no anemometer", "28 to 8 m/s", "20 to 6 m/s", "30 to 15 m/s",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """A day's difference by the joint fit, and by two fits apart where they were tried."""

    day: DayRecord
    drift: Drift
    joint: Claim
    apart: Claim | None


def told_of(joint: Sequence[DayRecord], apart: Sequence[DayRecord]) -> list[Told]:
    """One difference a day, that which the fits apart took too."""
    other = {day.seed: day for day in apart}
    found = []
    for day in joint:
        scenario = draw_compared_scenario(day.seed)
        place = day.seed % (scenario.setups - 1)
        claims = [records.deltas[place] for records in (day, other.get(day.seed)) if records and records.deltas]
        found.append(Told(day, drift_of(day.seed, scenario), claims[0], claims[1] if len(claims) > 1 else None))
    return found


def members(found: Sequence[Told]) -> dict[str, list[Told]]:
    """Kind of day → its days; kinds without a day are left out."""
    kinds = {"all days": list(found)}
    kinds |= {name: [one for one in found if moved(one.drift)] for name, moved in DRIFTS.items()}
    kinds |= {name: [one for one in found if STRATA[name](one.day)] for name in KINDS}
    kinds["two changes"] = [one for one in found if len(one.day.deltas) > 1]
    return {name: days for name, days in kinds.items() if days}


def difference_row(kind: str, found: Sequence[Told]) -> dict[str, Any]:
    """Coverage of the joint fit's differences; its u over that of two fits in quadrature, where both told one."""
    joint = [one.joint for one in found]
    errors = np.array([c.value - c.truth for c in joint if usable(c)])  # type: ignore[operator]
    u = np.array([c.u for c in joint if usable(c)])
    both = [(one.joint, one.apart) for one in found if one.apart and usable(one.joint) and usable(one.apart)]
    ratios = np.array([a.u / b.u for a, b in both])  # type: ignore[operator]
    return {
        "stratum": kind,
        **asdict(tally(joint)),
        "rms_error": float(np.sqrt(np.mean(errors**2))) if errors.size else None,
        "rms_u": float(np.sqrt(np.mean(u**2))) if u.size else None,
        "apart": len(both),
        "ratio": [float(q) for q in np.quantile(ratios, [0.5, 0.05, 0.95])] if both else None,
        "larger": int(np.sum(ratios > 1.0)),
        "coverage_apart": tally([b for _, b in both]).coverage,
        "rms_z_apart": tally([b for _, b in both]).rms_z,
    }


def differences_summary(
    joint: Sequence[DayRecord], apart: Sequence[DayRecord], about: Mapping[str, Any]
) -> dict[str, Any]:
    """The study in the form that the help pages read; larger: seeds whose joint u is not the smaller one."""
    found = told_of(joint, apart)
    rows = [difference_row(kind, days) for kind, days in members(found).items()]
    whole, failed = rows[0], [{"seed": d.seed, "error": d.error} for d in (*joint, *apart) if d.error]
    larger = [
        {"seed": one.day.seed, "ratio": one.joint.u / one.apart.u}
        for one in found
        if one.apart and one.joint.u and one.apart.u and one.joint.u > one.apart.u
    ]
    return {
        "title": f"Differences of SCx on {len(joint):,} days of baseline, change, baseline",
        "command": about["command"],
        "text": f"First seed {about['first_seed']}; one difference a day; {len(apart)} days were fitted a second time, "
        "each setup by itself with nothing known of the other, and the two u added in quadrature. Of every day tyres, "
        "air and wind drift; “larger” counts days whose joint u is not the smaller one.",
        "columns": list(COLUMNS),
        "rows": [_cells(row) for row in rows],
        "note": " ".join(misses(rows)) or "Coverage, kinds of day and RMS(error/u) are all where they must be.",
        "about": dict(about),
        "figures": rows,
        "larger": sorted(larger, key=lambda one: -float(one["ratio"])),
        "failed": failed,
        "misses": misses(rows) + ([f"{len(failed)} fits raised an error."] if failed else []),
        "held": whole["coverage"],
    }


def misses(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """What does not hold: all differences by the binomial range, required kinds of day by their floor."""
    tallies = {r["stratum"]: Tally(**{k: r[k] for k in Tally.__dataclass_fields__}) for r in rows}
    whole = tallies["all days"]
    found = judge_tally("differences", whole)
    if whole.rms_z is not None and not RMS_Z_RANGE[0] <= whole.rms_z <= RMS_Z_RANGE[1]:
        found.append(f"differences: RMS(error/u) is {whole.rms_z:.2f}, outside {RMS_Z_RANGE[0]} to {RMS_Z_RANGE[1]}.")
    for name in REQUIRED:
        one = tallies.get(name)
        if one is None or one.coverage is None or one.answered < STRATUM_LEAST_DAYS:
            continue
        if one.coverage < STRATUM_FLOOR:
            found.append(f"{name}: {one.coverage:.1%} of {one.answered} differences hold the truth, below 90 %.")
    return found


def _cells(r: Mapping[str, Any]) -> list[str]:
    def show(key: str, form: str) -> str:
        return "–" if r[key] is None else format(r[key], form)

    bounds = "–" if r["coverage"] is None else f"{r['coverage_low99']:.1%}–{r['coverage_high99']:.1%}"
    ratio = r["ratio"]
    return [
        r["stratum"], str(r["n"]), str(r["missing"]), show("coverage", ".1%"), bounds, show("rms_z", ".2f"),
        show("interval_score", ".3f"), show("rms_error", ".4f"), show("rms_u", ".4f"), str(r["apart"]),
        f"{ratio[0]:.2f}" if ratio else "–", f"{ratio[1]:.2f}–{ratio[2]:.2f}" if ratio else "–",
        str(r["larger"]) if ratio else "–", show("coverage_apart", ".1%"),
    ]  # fmt: skip
