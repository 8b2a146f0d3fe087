"""The same days fitted with and without their axle load channels: what the loads do for the drag area."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from tests.studies.records import Claim, DayRecord
from tests.studies.report import one_setup_a_day
from tests.studies.statistics import tally, usable
from tests.studies.strata import LOAD_STRATA

Pair = tuple[DayRecord, Claim, Claim]
REDRAWN = 2000
COLUMNS = (
    "kind of day", "days", "RMS error with loads", "RMS error without", "ratio", "95 % bounds of the ratio",
    "RMS u with loads", "RMS u without", "held with loads", "held without",
)  # fmt: skip


def pairs_of(loaded: Sequence[DayRecord], bare: Sequence[DayRecord]) -> list[Pair]:
    """Days that gave a drag area both ways; the same setup of each."""
    if [d.seed for d in loaded] != [d.seed for d in bare]:
        raise ValueError("loaded and bare must hold the same seeds in the same order")
    both = zip(one_setup_a_day(loaded), one_setup_a_day(bare), strict=True)
    return [(day, a, b) for (day, a), (_, b) in both if usable(a) and usable(b)]


def errors_ratio(with_loads: np.ndarray, without: np.ndarray) -> tuple[float, float, float]:
    """RMS of one over RMS of the other and its 95 % bounds by redrawing days (bootstrap, seed 0)."""
    drawn = np.random.default_rng(0).integers(0, with_loads.size, (REDRAWN, with_loads.size))
    ratios = np.sqrt(np.mean(with_loads[drawn] ** 2, axis=1) / np.mean(without[drawn] ** 2, axis=1))
    low, high = np.quantile(ratios, [0.025, 0.975])
    return float(np.sqrt(np.mean(with_loads**2) / np.mean(without**2))), float(low), float(high)


def paired_row(kind: str, pairs: Sequence[Pair]) -> dict[str, Any]:
    """A kind of day: relative RMS errors of SCx both ways, their ratio, RMS u, coverage."""
    errors = np.array([(a.value / a.truth - 1.0, b.value / b.truth - 1.0) for _, a, b in pairs])  # type: ignore[operator]
    spread = np.array([(a.u / a.truth, b.u / b.truth) for _, a, b in pairs])  # type: ignore[operator]
    ratio, low, high = errors_ratio(*errors.T)
    rms, rms_u = (np.sqrt(np.mean(x**2, axis=0)) for x in (errors, spread))
    held = [tally([p[k] for p in pairs]).coverage for k in (1, 2)]  # type: ignore[misc]
    return {
        "stratum": kind, "n": len(pairs), "rms_with": float(rms[0]), "rms_without": float(rms[1]),
        "ratio": ratio, "ratio_low95": low, "ratio_high95": high, "rms_u_with": float(rms_u[0]),
        "rms_u_without": float(rms_u[1]), "coverage_with": held[0], "coverage_without": held[1],
    }  # fmt: skip


def paired_summary(
    loaded: Sequence[DayRecord], bare: Sequence[DayRecord], about: Mapping[str, Any]
) -> dict[str, Any]:
    """The study in the form that the help pages read, with the bare figures beside it."""
    pairs = pairs_of(loaded, bare)
    kinds: dict[str, Callable[[DayRecord], bool]] = {"all days": lambda _: True, **LOAD_STRATA}
    rows = [paired_row(k, members) for k, pick in kinds.items() if (members := [p for p in pairs if pick(p[0])])]
    return {
        "title": f"SCx with and without axle loads on the same {len(pairs):,} days",
        "command": about["command"],
        "text": f"First seed {about['first_seed']}; of {len(loaded)} days {len(loaded) - len(pairs)} lack an area "
        f"one way or the other, {sum(bool(d.error) for d in loaded)} of them raised an error. "
        "The ratio is that of the RMS errors, its bounds by redrawing days.",
        "columns": list(COLUMNS),
        "rows": [_cells(r) for r in rows],
        "note": "",
        "about": dict(about),
        "figures": rows,
        "failed": [{"seed": d.seed, "error": d.error} for d in (*loaded, *bare) if d.error],
    }


def _cells(r: Mapping[str, Any]) -> list[str]:
    return [
        r["stratum"], str(r["n"]), f"{r['rms_with']:.2%}", f"{r['rms_without']:.2%}", f"{r['ratio']:.3f}",
        f"{r['ratio_low95']:.3f}–{r['ratio_high95']:.3f}", f"{r['rms_u_with']:.2%}", f"{r['rms_u_without']:.2%}",
        f"{r['coverage_with']:.1%}", f"{r['coverage_without']:.1%}",
    ]  # fmt: skip
