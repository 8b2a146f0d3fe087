"""The study's outcome: a table in text, a JSON for the help pages, and whether the claims hold."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from tests.studies.records import Claim, DayRecord
from tests.studies.statistics import Tally, allowed_range, relative_rms, tally
from tests.studies.strata import REQUIRED, STRATA

STRATUM_FLOOR = 0.90
STRATUM_LEAST_DAYS = 50
RMS_Z_RANGE = (0.9, 1.1)
COLUMNS = (
    "stratum",
    "days",
    "none",
    "held",
    "99 % bounds",
    "rms z",
    "mean z",
    "score",
    "u",
    "rms",
    "/bound",
    "3-term",
    "2-term",
)


def one_setup_a_day(days: Iterable[DayRecord]) -> list[tuple[DayRecord, Claim]]:
    """One SCx claim a day, turning through its setups with the seed: claims of a day are not independent."""
    chosen = []
    for day in days:
        claims = [c for c in day.claims if c.name == "SCx"]
        chosen.append((day, claims[day.seed % len(claims)]))
    return chosen


def one_delta_a_day(days: Iterable[DayRecord]) -> list[Claim]:
    return [d.deltas[d.seed % len(d.deltas)] for d in days if d.deltas]


def row(name: str, days: Sequence[DayRecord]) -> dict[str, Any]:
    """A line of the table: the tally of SCx and the interval method's relative errors on the same setups."""
    chosen = one_setup_a_day(days)
    truths = [claim.truth for _, claim in chosen]
    three, three_missing = relative_rms([d.interval_three.get(c.setup) for d, c in chosen], truths)
    two, two_missing = relative_rms([d.interval_two.get(c.setup) for d, c in chosen], truths)
    return {
        "stratum": name,
        **asdict(tally([claim for _, claim in chosen])),
        "interval_three_rms": three,
        "interval_three_missing": three_missing,
        "interval_two_rms": two,
        "interval_two_missing": two_missing,
    }


def summary(days: Sequence[DayRecord], about: dict[str, Any]) -> dict[str, Any]:
    """Everything that the study found, ready for JSON."""
    rows = [row("all days", days)]
    rows += [row(name, members) for name, pick in STRATA.items() if (members := [d for d in days if pick(d)])]
    deltas = one_delta_a_day(days)
    names = sorted({c.name for d in days for c in d.claims})
    others = {n: asdict(tally([c for d in days for c in d.claims if c.name == n])) for n in names}
    failed = [{"seed": d.seed, "error": d.error} for d in days if d.error]
    misses = judge(rows) + _errors(days)
    return {
        "about": about,
        "days": len(days),
        "seconds_per_fit": {
            "median": float(np.median([d.seconds for d in days])),
            "longest": float(max(d.seconds for d in days)),
        },
        "failed": failed,
        "scx": rows,
        "delta_scx": asdict(tally(deltas)) if deltas else None,
        "delta_misses": judge_tally("differences", tally(deltas)) if deltas else [],
        "estimates_of_all_setups": others,
        "misses": misses,
    }


def judge(rows: Sequence[dict[str, Any]]) -> list[str]:
    """What does not hold, in sentences; an empty list says that the intervals are as good as they claim."""
    fields = Tally.__dataclass_fields__
    tallies = {r["stratum"]: Tally(**{k: r[k] for k in fields}) for r in rows}
    misses = judge_tally("all days", tallies["all days"])
    rms_z = tallies["all days"].rms_z
    if rms_z is not None and not RMS_Z_RANGE[0] <= rms_z <= RMS_Z_RANGE[1]:
        misses.append(f"all days: RMS(error/u) is {rms_z:.2f}, outside {RMS_Z_RANGE[0]} to {RMS_Z_RANGE[1]}.")
    for name in REQUIRED:
        found = tallies.get(name)
        if found is None or found.coverage is None or found.answered < STRATUM_LEAST_DAYS:
            continue
        if found.coverage < STRATUM_FLOOR:
            misses.append(f"{name}: {found.coverage:.1%} of {found.answered} days hold the truth, below 90 %.")
    return misses


def _errors(days: Sequence[DayRecord]) -> list[str]:
    """A fit that raises is a mistake of the program, however few the days."""
    raised = [d for d in days if d.error]
    if not raised:
        return []
    last_line = raised[0].error.strip().splitlines()[-1]
    return [f"{len(raised)} of {len(days)} days raised an error, first seed {raised[0].seed}: {last_line}"]


def judge_tally(name: str, found: Tally) -> list[str]:
    """Coverage against the binomial range of honest 95 % intervals."""
    if found.answered == 0:
        return [f"{name}: no estimate at all."]
    least, most = allowed_range(found.answered)
    share = f"{found.covered} of {found.answered} hold the truth"
    if found.covered < least:
        return [f"{name}: {share}, fewer than {least}: the intervals are too narrow or biased."]
    if found.covered > most:
        return [f"{name}: {share}, more than {most}: the intervals are too wide."]
    return []


def table(found: dict[str, Any]) -> str:
    """The study as text, for the terminal."""
    lines = [_cells(COLUMNS)]
    lines += [_cells(_texts(r)) for r in found["scx"]]
    if found["delta_scx"] is not None:
        lines.append(_cells(_texts({"stratum": "differences", **found["delta_scx"]})))
    lines.append("\nEvery estimate, all setups (claims of one day are not independent):")
    lines += [_cells(_texts({"stratum": n, **t})) for n, t in found["estimates_of_all_setups"].items()]
    time = found["seconds_per_fit"]
    lines.append(f"\n{found['days']} days, {len(found['failed'])} of them raised an error; "
                 f"a fit took {time['median']:.2f} s (median), {time['longest']:.2f} s at most.")  # fmt: skip
    misses = [*found["misses"], *found["delta_misses"]]
    lines += misses or ["Coverage, strata and RMS(error/u) are all where they must be."]
    return "\n".join(lines)


def _texts(values: dict[str, Any]) -> tuple[str, ...]:
    def show(key: str, form: str) -> str:
        value = values.get(key)
        return "–" if value is None else format(value, form)

    held = values.get("coverage") is not None
    bounds = f"{show('coverage_low99', '.1%')}–{show('coverage_high99', '.1%')}" if held else "–"
    return (
        values["stratum"], str(values["n"]), str(values["missing"]), show("coverage", ".1%"), bounds,
        show("rms_z", ".2f"), show("mean_z", "+.2f"), show("interval_score", ".3g"),
        show("median_relative_u", ".2%"), show("rms_relative", ".2%"),
        show("error_over_bound", ".2f"), show("interval_three_rms", ".1%"), show("interval_two_rms", ".1%"),
    )  # fmt: skip


def _cells(texts: Sequence[str]) -> str:
    widths = (32, 5, 5, 7, 14, 6, 7, 8, 9, 9, 8, 8, 8)
    padded = [t.ljust(w) if k == 0 else t.rjust(w) for k, (t, w) in enumerate(zip(texts, widths, strict=True))]
    return " ".join(padded)
