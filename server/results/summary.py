"""What lists show of a result, as JSON beside it: setups with their areas, passes, findings that ask for a person."""

from __future__ import annotations

import dataclasses
from typing import Any

from server.analysis.result import BaselineDrift, DayResult, Estimate, Pass
from server.results.next_step import QUANTITY, standing_of
from server.results.sentences import why_no_area
from server.results.shared_errors import shared_u

SUMMARY_FORMAT = 5
QUANTITIES = ("SCx", "SCz_front", "SCz_rear", "SCz", "balance_front", "LD")
GRADES = ("stop", "check", "note")
Summary = dict[str, Any]


def summarise(result: DayResult) -> Summary:
    """The summary of a result."""
    return {
        "format": SUMMARY_FORMAT,
        "setups": [
            {
                "setup": setup.name,
                "passes": sum(one.used and one.kind == "coast-down" for one in setup.passes),
                "steady": sum(one.used and one.kind == "constant-speed" for one in setup.passes),
                "refused": sum(not one.used for one in setup.passes),
                "estimates": {name: one_value(setup.estimates[name]) for name in QUANTITIES if name in setup.estimates},
                "shared_u": {name: shared_u(setup, name) for name in QUANTITIES if name in setup.estimates},
                "standing": standing_of(setup).as_json(),
                "why": "" if QUANTITY in setup.estimates else why_no_area(result, setup),
            }
            for setup in result.setups
        ],
        "findings": {
            grade: sum(finding.grade == grade for finding in result.findings) for grade in GRADES
        },
        "asking": [
            {"code": finding.code, "grade": finding.grade, "run": finding.run, "text": finding.text}
            for finding in result.findings
            if finding.grade != "note"
        ],
        "runs": _runs(result),
        "differences": _differences(result),
        "outlook": [
            {"added": [dataclasses.asdict(one) for one in each.added], "shrink": dict(each.shrink)}
            for each in result.outlook
        ],
        "drift": [drift_as_json(one) for one in result.drift],
        "gust_sd": result.noise["gust_sd"].value if "gust_sd" in result.noise else None,
        "loads": list(result.load_sources),
    }


def _differences(result: DayResult) -> list[dict[str, Any]]:
    """SCx of each setup against its baseline."""
    told = [(one, one.deltas[QUANTITY]) for one in result.comparisons if QUANTITY in one.deltas]
    return [
        {"setup": one.setup, "baseline": one.baseline, "p": delta.p, "value": delta.value, "u": delta.u,
         "low95": delta.low95, "high95": delta.high95, "unit": delta.unit, "source": "measured"}
        for one, delta in told
    ]  # fmt: skip


def drift_as_json(one: BaselineDrift) -> dict[str, Any]:
    """One quantity of the baseline's runs against each other."""
    changes = [one_value(change) for change in one.changes]
    return {"setup": one.setup, "quantity": one.quantity, "runs": list(one.runs), "changes": changes,
            "p": one.p, "moved": one.moved}  # fmt: skip


def _runs(result: DayResult) -> list[dict[str, Any]]:
    """Of each run that the fit saw: coast-downs and constant-speed passes found and used, findings by grade."""
    passes = [one for setup in result.setups for one in setup.passes if one.kind != "zero"]
    numbers = {one.run for one in passes} | {one.run for one in result.findings if one.run is not None}
    return [_run(result, number, [one for one in passes if one.run == number]) for number in sorted(numbers)]


def _run(result: DayResult, number: int, passes: list[Pass]) -> dict[str, Any]:
    grades = [finding.grade for finding in result.findings if finding.run == number]
    return {
        "run": number,
        "found": len(passes),
        "used": sum(one.used for one in passes),
        "directions": sorted({one.direction for one in passes if one.used}),
        "findings": {grade: grades.count(grade) for grade in GRADES if grade in grades},
    }


def one_value(estimate: Estimate) -> dict[str, Any]:
    """An estimate as JSON."""
    return {
        "value": estimate.value,
        "u": estimate.u,
        "low95": estimate.low95,
        "high95": estimate.high95,
        "unit": estimate.unit,
        "source": estimate.source,
    }
