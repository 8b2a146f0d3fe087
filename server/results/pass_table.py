"""Every pass of a result in one table, whether it was used or not: in SI, at full precision."""

from __future__ import annotations

import math
from typing import Any

from server.analysis.result import DayResult, PassFit
from server.analysis.result_json import DIRECTION_NAMES
from server.figures.table import Table

COLUMNS = {
    "setup": "setup",
    "run": "run",
    "kind": "kind",
    "direction": "direction",
    "start_s": "start [s]",
    "end_s": "end [s]",
    "low_mps": "slowest [m/s]",
    "high_mps": "fastest [m/s]",
    "used": "used",
    "reason": "reason",
    "scx_m2": "SCx of this pass alone [m²]",
    "scx_u_m2": "its standard uncertainty by its own noise alone [m²]",
    "head_wind_mps": "head wind [m/s]",
    "time_closure": "time closure [1]",
    "energy_closure": "energy closure [1]",
}


def pass_rows(result: DayResult) -> list[dict[str, Any]]:
    """A row for each pass in the order in which it was driven; None for what it does not tell."""
    rows = []
    for setup in result.setups:
        fits = {(fit.of.run, fit.of.start_s): fit for fit in setup.fits}
        for one in setup.passes:
            told = {name: getattr(one, name) for name in ("setup", "run", "kind", "start_s", "end_s", "used", "reason")}
            speeds = {"low_mps": one.low_mps or None, "high_mps": one.high_mps or None}
            way = {"direction": DIRECTION_NAMES.get(one.direction, "unknown")}
            row = {**told, **speeds, **way, **_fitted(fits.get((one.run, one.start_s)))}
            rows.append({name: row[name] for name in COLUMNS})
    return sorted(rows, key=lambda row: (row["run"], row["start_s"]))


def pass_table(result: DayResult) -> Table:
    """The same for a spreadsheet."""
    rows = [tuple(_cell(value) for value in row.values()) for row in pass_rows(result)]
    return Table(tuple(COLUMNS.values()), tuple(rows))


def _fitted(fit: PassFit | None) -> dict[str, float | None]:
    names = {"scx_m2": "scx", "scx_u_m2": "scx_u"}
    names |= {name: name for name in ("head_wind_mps", "time_closure", "energy_closure")}
    return {name: _finite(getattr(fit, of)) if fit is not None else None for name, of in names.items()}


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _cell(value: Any) -> Any:
    return ("yes" if value else "no") if isinstance(value, bool) else value
