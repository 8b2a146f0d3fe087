"""What a study found of axle loads: each quantity over kinds of days, bends, findings, targets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from tests.studies.records import BendFound, Claim, DayRecord
from tests.studies.report import RMS_Z_RANGE, STRATUM_FLOOR, STRATUM_LEAST_DAYS, judge_tally
from tests.studies.statistics import Tally, allowed_rms_z, clopper_pearson, tally, usable
from tests.studies.strata import LOAD_REQUIRED, LOAD_STRATA

QUANTITIES: Mapping[str, tuple[str, float, str]] = {
    # name → in words, factor of its RMS error, unit that this gives
    "SCx": ("SCx", 0.0, "%"),
    "SCz_front": ("SCz, front axle", 0.0, "%"),
    "SCz_rear": ("SCz, rear axle", 0.0, "%"),
    "SCz": ("SCz", 0.0, "%"),
    "balance_front": ("balance", 100.0, "points"),
    "LD": ("downforce over drag", 0.0, "%"),
    "ride_height_front": ("ride height, front", 1e3, "mm"),
    "ride_height_rear": ("ride height, rear", 1e3, "mm"),
    "weight_speed": ("speed where downforce is weight", 0.0, "%"),
}
MUST_BE_MEASURED = ("SCz_front", "SCz_rear", "SCz", "balance_front", "LD", "weight_speed")
LEAST_AREA_M2 = 0.5  # an axle with less has no relative error worth a figure
TARGETS = (
    # quantity, kind of day, most RMS error in the quantity's unit
    ("SCz_front", "4 pairs, calm, dampers, straight", 1.2),
    ("SCz_rear", "4 pairs, calm, dampers, straight", 1.2),
    ("SCz_front", "4 pairs, gusty, dampers, straight", 1.5),
    ("SCz_rear", "4 pairs, gusty, dampers, straight", 1.5),
    ("balance_front", "4 pairs, calm, dampers, straight", 0.4),
    ("balance_front", "4 pairs, gusty, dampers, straight", 0.4),
)


def measured_claims(days: Sequence[DayRecord], name: str) -> list[Claim]:
    """One setup's claim a day, turning with the seed; what was not measured counts as not answered."""
    chosen = []
    for day in days:
        setups = sorted({c.setup for c in day.claims if c.name == "SCx"})
        setup = setups[day.seed % len(setups)]
        claim = next((c for c in day.claims if (c.setup, c.name) == (setup, name)), None)
        taken = claim is not None and (name not in MUST_BE_MEASURED or claim.source == "measured")
        chosen.append(claim if claim is not None and taken else Claim(setup, name, float("nan")))
    return chosen


def load_row(name: str, stratum: str, days: Sequence[DayRecord]) -> dict[str, Any]:
    """A line of the table; rms_error and rms_u in the quantity's unit of QUANTITIES.

    error_over_bound: RMS error over RMS u, the error that the same posteriors expect of themselves.
    """
    claims = measured_claims(days, name)
    error, u = _errors(name, [c for c in claims if usable(c)])
    found = asdict(tally(claims))
    rms_error, rms_u = (float(np.sqrt(np.mean(x**2))) if x.size else None for x in (error, u))
    found["error_over_bound"] = rms_error / rms_u if rms_error is not None and rms_u else None
    return {"quantity": name, "stratum": stratum, "unit": QUANTITIES[name][2], **found,
            "rms_error": rms_error, "rms_u": rms_u}  # fmt: skip


def _errors(name: str, claims: Sequence[Claim]) -> tuple[np.ndarray, np.ndarray]:
    """Errors and u in the unit that the quantity is judged in."""
    factor = QUANTITIES[name][1]
    rows = np.array([(c.truth, c.value, c.u) for c in claims], dtype=float).reshape(-1, 3)
    if name.startswith("SCz"):
        rows = rows[rows[:, 0] >= LEAST_AREA_M2]
    truth, value, u = rows.T
    scale = np.full_like(truth, factor) if factor else 100.0 / np.abs(truth)
    return scale * (value - truth), scale * u


def load_rows(days: Sequence[DayRecord]) -> list[dict[str, Any]]:
    """Every quantity over all days and every kind of day that occurs."""
    kinds = {"all days": list(days)}
    kinds |= {name: members for name, pick in LOAD_STRATA.items() if (members := [d for d in days if pick(d)])}
    return [load_row(name, kind, members) for name in QUANTITIES for kind, members in kinds.items()]


def load_summary(days: Sequence[DayRecord]) -> dict[str, Any]:
    """What axle loads gave, ready for JSON beside what `report.summary` tells of SCx."""
    rows = load_rows(days)
    return {
        "loads": rows,
        "bend": bend_summary(days),
        "findings": dict(Counter(code for d in days for code in d.findings).most_common()),
        "load_misses": judge_loads(rows),
        "targets": targets(rows),
    }


def judge_loads(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Coverage of every quantity that was answered, over all days and in the kinds that must hold."""
    misses = []
    for found in rows:
        name, kind = found["quantity"], found["stratum"]
        made = Tally(**{k: found[k] for k in Tally.__dataclass_fields__})
        if made.answered == 0 or made.coverage is None or made.rms_z is None:
            misses += [f"{name}: no estimate at all."] if kind == "all days" else []
        elif kind == "all days":
            misses += judge_tally(name, made)
            low, high = allowed_rms_z(made.answered)
            if not min(low, RMS_Z_RANGE[0]) <= made.rms_z <= max(high, RMS_Z_RANGE[1]):
                misses.append(f"{name}: RMS(error/u) is {made.rms_z:.2f}.")
        elif kind in LOAD_REQUIRED and made.answered >= STRATUM_LEAST_DAYS and made.coverage < STRATUM_FLOOR:
            misses.append(f"{name}, {kind}: {made.coverage:.1%} of {made.answered} days hold the truth.")
    return misses


def targets(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What was to be reached beside what was; reached is None where no day of the kind answered."""
    by_key = {(r["quantity"], r["stratum"]): r for r in rows}
    found = []
    for name, kind, most in TARGETS:
        row = by_key.get((name, kind))
        rms = row["rms_error"] if row else None
        days = row["n"] - row["missing"] if row else 0
        found.append({"quantity": name, "stratum": kind, "days": days, "most": most, "rms_error": rms,
                      "unit": QUANTITIES[name][2], "reached": None if rms is None else rms <= most})  # fmt: skip
    return found


def bend_summary(days: Sequence[DayRecord]) -> dict[str, Any]:
    """How often a bend was seen where there is one, and where there is none; one setup a day."""
    chosen = [d.bends[d.seed % len(d.bends)] for d in days if d.bends]
    return {
        "untested": len(days) - len(chosen),
        "seen": share([b for b in chosen if b.truth]),
        "false_alarms": share([b for b in chosen if not b.truth]),
    }


def share(bends: Sequence[BendFound]) -> dict[str, Any]:
    """How many of the tests say 'bent', with 95 % binomial bounds."""
    n, said = len(bends), sum(b.bent for b in bends)
    low, high = clopper_pearson(said, n, 0.95) if n else (None, None)
    return {"n": n, "bent": said, "share": said / n if n else None, "low95": low, "high95": high}
