"""How often a downforce that depends on ride height is found out, and how often one is found that is none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tests.studies.load_report import bend_summary, load_row
from tests.studies.load_table import bend_line
from tests.studies.records import DayRecord
from tests.studies.strata import LOAD_STRATA

LEAST_SEEN = 0.90
MOST_FALSE = 0.05
MOST_RMS_PERCENT = 2.0
COLUMNS = ("days", "kind of day", "days tested", "said to bend", "share", "95 % bounds")
WHERE = ("calm", "breezy", "gusty", "2 pairs", "4 pairs", "8 pairs", "dampers alone", "ride heights alone",
         "push rods alone", "two sources", "friction high", "held speeds")  # fmt: skip


def bends_summary(
    bent: Sequence[DayRecord], straight: Sequence[DayRecord], about: Mapping[str, Any]
) -> dict[str, Any]:
    """bent: days that bend, all of one kind; straight: days of the mixture that do not."""
    seen, false_alarms = bend_summary(bent), bend_summary(straight)
    strata = {
        name: bend_summary(members)["false_alarms"]
        for name in WHERE
        if (members := [d for d in straight if LOAD_STRATA[name](d)])
    }
    at_reference = [load_row(name, "bent", bent) for name in ("SCz_front", "SCz_rear", "SCz")]
    found = {
        "title": "Does downforce depend on ride height: found out and falsely said",
        "command": about["command"],
        "text": f"Days that bend: {about['bent']}. Days that do not: {about['straight']}.",
        "columns": list(COLUMNS),
        "rows": [_cells("that bend", "all", seen["seen"]), _cells("that do not", "all", false_alarms["false_alarms"])]
        + [_cells("that do not", name, s) for name, s in strata.items()],
        "about": dict(about),
        "seen": seen["seen"],
        "false_alarms": false_alarms["false_alarms"],
        "false_alarms_by_kind": strata,
        "untested": {"bent": seen["untested"], "straight": false_alarms["untested"]},
        "at_reference": at_reference,
        "failed": [{"seed": d.seed, "error": d.error} for d in (*bent, *straight) if d.error],
    }
    misses = judge_bends(found)
    return found | {"misses": misses, "note": " ".join(misses) or "All is where it must be."}


def judge_bends(found: Mapping[str, Any]) -> list[str]:
    """Against what is asked: only what the binomial bounds exclude counts as missed."""
    seen, alarms = found["seen"], found["false_alarms"]
    misses = []
    if not seen["n"] or seen["high95"] < LEAST_SEEN:
        misses.append(f"{bend_line('bend where there is one', seen)}; asked for {LEAST_SEEN:.0%}.")
    if not alarms["n"] or alarms["low95"] > MOST_FALSE:
        misses.append(f"{bend_line('bend where there is none', alarms)}; at most {MOST_FALSE:.0%} is asked for.")
    for row in found["at_reference"]:
        if row["rms_error"] is None or row["rms_error"] > MOST_RMS_PERCENT:
            misses.append(f"{row['quantity']} at the reference condition: RMS error {row['rms_error']} %.")
    return misses


def bends_text(found: Mapping[str, Any]) -> str:
    """The study as text."""
    lines = [bend_line("bend where there is one", found["seen"])]
    lines += [bend_line("bend where there is none", found["false_alarms"])]
    lines += [bend_line(f"  {name}", s) for name, s in found["false_alarms_by_kind"].items()]
    for row in found["at_reference"]:
        if row["rms_error"] is not None:
            lines.append(
                f"{row['quantity']} at the reference condition on days that bend: {row['rms_error']:.2f} % RMS, "
                f"{row['coverage']:.1%} of {row['n'] - row['missing']} hold the truth"
            )
    lines.append(f"untested: {found['untested']}; raised an error: {len(found['failed'])}")
    return "\n".join([*lines, *(found["misses"] or ["All is where it must be."])])


def _cells(days: str, kind: str, s: Mapping[str, Any]) -> list[str]:
    if not s["n"]:
        return [days, kind, "0", "0", "–", "–"]
    return [days, kind, str(s["n"]), str(s["bent"]), f"{s['share']:.1%}", f"{s['low95']:.1%}–{s['high95']:.1%}"]
