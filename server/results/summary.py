"""What lists show of a result, as JSON beside it: setups with their areas, passes, findings that ask for a person."""

from __future__ import annotations

from typing import Any

from server.analysis.result import DayResult, Estimate

SUMMARY_FORMAT = 2
QUANTITIES = ("SCx", "SCz_front", "SCz_rear", "SCz", "balance_front", "LD")
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
            }
            for setup in result.setups
        ],
        "findings": {
            grade: sum(finding.grade == grade for finding in result.findings) for grade in ("stop", "check", "note")
        },
        "asking": [
            {"code": finding.code, "grade": finding.grade, "run": finding.run, "text": finding.text}
            for finding in result.findings
            if finding.grade != "note"
        ],
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
