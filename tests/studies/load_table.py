"""The axle loads of a study as text for the terminal and as a table for the help pages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

COLUMNS = (
    "quantity", "kind of day", "days", "none", "held", "99 % bounds", "rms z", "rms error", "rms u", "/bound",
    "score",
)  # fmt: skip
WIDTHS = (18, 34, 5, 5, 7, 14, 6, 13, 8, 7, 9)


def load_table(found: Mapping[str, Any]) -> str:
    """The loads of a study as text."""
    lines = ["\nAxle loads (RMS errors in per cent of the truth, points, or mm):", _cells(COLUMNS)]
    lines += [_cells(cells(r)) for r in found["loads"] if r["n"] > r["missing"]]
    lines += [bend_line("bend where there is one", found["bend"]["seen"])]
    lines += [bend_line("bend where there is none", found["bend"]["false_alarms"])]
    lines += ["Findings, in days: " + ", ".join(f"{c} {n}" for c, n in found["findings"].items())]
    lines += [_target_line(t) for t in found["targets"] if t["reached"] is not None]
    lines += found["load_misses"] or ["Coverage of axle loads is where it must be."]
    return "\n".join(lines)


def cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    """A row as written, in the order of COLUMNS."""

    def show(key: str, form: str) -> str:
        return "–" if row[key] is None else format(row[key], form)

    bounds = f"{show('coverage_low99', '.1%')}–{show('coverage_high99', '.1%')}" if row["coverage"] is not None else "–"
    error = f"{show('rms_error', '.3g')} {row['unit']}"
    return (row["quantity"], row["stratum"], str(row["n"]), str(row["missing"]), show("coverage", ".1%"), bounds,
            show("rms_z", ".2f"), error, show("rms_u", ".3g"), show("error_over_bound", ".2f"),
            show("interval_score", ".3g"))  # fmt: skip


def _cells(texts: Sequence[str]) -> str:
    return " ".join(t.ljust(w) if k < 2 else t.rjust(w) for k, (t, w) in enumerate(zip(texts, WIDTHS, strict=True)))


def bend_line(name: str, found: Mapping[str, Any]) -> str:
    """How often a bend was said, as a sentence."""
    if not found["n"]:
        return f"{name}: no day tested."
    return (
        f"{name}: said of {found['bent']} of {found['n']} days, {found['share']:.1%} "
        f"(95 % bounds {found['low95']:.1%} to {found['high95']:.1%})"
    )


def _target_line(target: Mapping[str, Any]) -> str:
    verdict = "reached" if target["reached"] else "NOT reached"
    return (
        f"{target['quantity']}, {target['stratum']}: {target['rms_error']:.2f} {target['unit']} RMS over "
        f"{target['days']} days, asked for {target['most']}: {verdict}"
    )


def help_table(found: Mapping[str, Any], command: str) -> dict[str, Any]:
    """The table as the help pages read any study: title, command, columns, rows."""
    return {
        "title": f"Axle loads on {found['days']:,} simulated days of many kinds",
        "command": command,
        "text": "RMS errors are in per cent of the truth, points of balance, or mm; one setup of each day counts.",
        "columns": list(COLUMNS),
        "rows": [list(cells(r)) for r in found["loads"] if r["n"] > r["missing"]],
        "note": " ".join(found["load_misses"]) or "Coverage of axle loads is where it must be.",
    }
