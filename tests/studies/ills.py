"""Each fault of a load sensor beside the same days without it: was it survived, was it named?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tests.studies.records import DayRecord
from tests.studies.statistics import usable

AREAS = ("SCz_front", "SCz_rear")
SURVIVES_U = 3.0  # errors within so many u
UNPROVED = "motion-ratio-unproved"  # said on days with and without the fault: they cannot tell
COLUMNS = (
    "fault", "days", "survived", "named", "neither", "of these said to be untold", "RMS(error/u) front", "rear",
    "u over healthy u", "findings that only the fault brought, in days",
)  # fmt: skip


def worst_z(day: DayRecord) -> float | None:
    """The larger |error|/u of both axles' measured areas in setup A; None where an axle has none."""
    z = [_z(day, name) for name in AREAS]
    return None if any(value is None for value in z) else max(abs(value) for value in z if value is not None)


def new_codes(ill: DayRecord, healthy: DayRecord) -> set[str]:
    """Findings of the ill day that the same day has not without the fault."""
    return set(ill.findings) - set(healthy.findings)


def ill_row(fault: str, ill: Sequence[DayRecord], healthy: Sequence[DayRecord]) -> dict[str, Any]:
    """survived: both areas within 3 u of the truth; named: a finding that the fault brought, or no area; untold: days
    neither survived nor named that say that they cannot tell."""
    if [d.seed for d in ill] != [d.seed for d in healthy]:
        raise ValueError("ill and healthy must hold the same seeds in the same order")
    worst = [worst_z(d) for d in ill]
    brought = [new_codes(a, b) for a, b in zip(ill, healthy, strict=True)]
    survived = [z is not None and z <= SURVIVES_U for z in worst]
    named = [bool(codes) for codes in brought]
    neither = [d for d, s, c in zip(ill, survived, named, strict=True) if not (s or c)]
    u = [_u_ratio(a, b) for a, b in zip(ill, healthy, strict=True)]
    return {
        "fault": fault,
        "n": len(ill),
        "raised": sum(bool(d.error) for d in ill),
        "survived": sum(survived),
        "named": sum(named),
        "neither": [d.seed for d in neither],
        "untold": sum(UNPROVED in d.findings for d in neither),
        "rms_z": [_rms([_z(d, name) for d in ill]) for name in AREAS],
        "u_ratio": float(np.median(known)) if (known := [r for r in u if r is not None]) else None,
        "codes": dict(Counter(code for codes in brought for code in codes).most_common()),
    }


def ills_summary(
    ill: Mapping[str, Sequence[DayRecord]], healthy: Sequence[DayRecord], about: Mapping[str, Any]
) -> dict[str, Any]:
    """Every fault, in the form that the help pages read, with the bare figures beside it."""
    rows = [ill_row(fault, days, healthy) for fault, days in ill.items()]
    missed = [f"{r['fault']}: {len(r['neither'])} days neither survived nor named." for r in rows if r["neither"]]
    return {
        "title": "Faults of load sensors, survived or named",
        "command": about["command"],
        "text": f"First seed {about['first_seed']}. Survived: both downforce areas within 3 u of the truth. Named: "
        "a finding that the same day does not have without the fault.",
        "columns": list(COLUMNS),
        "rows": [_cells(r) for r in rows],
        "note": " ".join(missed) or "Every fault is survived or named.",
        "about": dict(about),
        "figures": rows,
        "misses": missed,
        "failed": [{"seed": d.seed, "error": d.error} for days in (healthy, *ill.values()) for d in days if d.error],
    }


def _z(day: DayRecord, name: str) -> float | None:
    for claim in day.claims:
        if (claim.setup, claim.name, claim.source) == ("A", name, "measured") and usable(claim):
            return float((claim.value - claim.truth) / claim.u)  # type: ignore[operator]
    return None


def _u_ratio(ill: DayRecord, healthy: DayRecord) -> float | None:
    """Mean over both axles of u with the fault over u without it."""
    u = [{c.name: c.u for c in d.claims if c.setup == "A" and usable(c)} for d in (ill, healthy)]
    ratios = [u[0][n] / u[1][n] for n in AREAS if n in u[0] and n in u[1]]  # type: ignore[operator]
    return float(np.mean(ratios)) if ratios else None


def _rms(values: Sequence[float | None]) -> float | None:
    made = [v for v in values if v is not None]
    return float(np.sqrt(np.mean(np.square(made)))) if made else None


def _cells(r: Mapping[str, Any]) -> list[str]:
    def show(value: float | None) -> str:
        return "–" if value is None else f"{value:.2f}"

    codes = ", ".join(f"{code} {n}" for code, n in r["codes"].items())
    return [r["fault"], str(r["n"]), str(r["survived"]), str(r["named"]), str(len(r["neither"])), str(r["untold"]),
            *map(show, r["rms_z"]), show(r["u_ratio"]), codes or "–"]  # fmt: skip
