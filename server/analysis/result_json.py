"""A fitted day as one strict JSON object: what cannot be had is absent, never null and never NaN."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any

from server.analysis.correlated import DayCorrelation
from server.analysis.correlation_json import correlation_to_json
from server.analysis.result import (
    AtSpeed,
    BaselineDrift,
    BendTest,
    BudgetLine,
    Comparison,
    DayResult,
    Delta,
    Estimate,
    IntervalMethod,
    Outlook,
    Pass,
    SetupResult,
    SourceCheck,
    StandTest,
    VisitedHeight,
)
from server.testday.rounding import DIMENSIONLESS
from server.testday.values import Finding

FORMAT = 1
DIRECTION_NAMES = {1: "out", -1: "back"}

Json = dict[str, Any]


def result_to_json(result: DayResult, correlation: DayCorrelation | None = None) -> Json:
    """The object that `fit --json` prints.

    Keys: format, name, reference, setups, comparisons, correlation, findings; with axle loads load_sources and
    source_checks, with measurements on stands stand_tests, with predictions those of `correlation_json`; with fitted
    passes outlook and drift: what more of them would bring, and the baseline's runs against each other.
    Numbers are finite and SI; a key whose value cannot be had is left out, a finding says why.
    """
    told = {
        "format": FORMAT,
        "name": result.name,
        "reference": present(result.reference),
        "setups": [_setup(setup) for setup in result.setups],
        "comparisons": [_comparison(comparison) for comparison in result.comparisons],
        "correlation": [],
        "findings": [_finding(finding) for finding in result.findings],
    }
    if correlation is not None:
        told |= correlation_to_json(correlation)
    return told | _listed(
        load_sources=list(result.load_sources),
        source_checks=[_source_check(check) for check in result.source_checks if _is_whole(check.ratio)],
        stand_tests=[_stand_test(test) for test in result.stand_tests if _is_whole(test.measured)],
        outlook=[_outlook(each) for each in result.outlook],
        drift=[_drift(each) for each in result.drift],
    )


def present(entries: Mapping[str, Any]) -> Json:
    """The entries that say something: without None and without numbers that are not finite."""
    plain = {key: float(value) if isinstance(value, float) else value for key, value in entries.items()}
    return {key: value for key, value in plain.items() if _says_something(value)}


def _setup(setup: SetupResult) -> Json:
    return present(
        {
            "name": setup.name,
            "estimates": _valued(setup.estimates),
            "passes": [_pass(each) for each in setup.passes],
            "interval_method": _interval_method(setup.interval_method) if setup.interval_method else None,
            "budget": [_budget_line(line) for line in setup.budget],
            "bend": _bend(setup.bend) if setup.bend else None,
        }
    ) | _listed(
        at_speeds=[_at_speed(each) for each in setup.at_speeds],
        visited=[_visited(each) for each in setup.visited if _is_whole(each.scz) and _is_whole(each.sink)],
    )


def _listed(**lists: list[Any]) -> Json:
    """The lists that hold something."""
    return {key: entries for key, entries in lists.items() if entries}


def _at_speed(each: AtSpeed) -> Json:
    """A steady speed and what is said of it: loads in N, heights and sinks in m, rake in rad."""
    values = {field.name: getattr(each, field.name) for field in fields(AtSpeed) if field.name != "speed_mps"}
    return {"speed_mps": float(each.speed_mps)} | _valued(
        {name: value for name, value in values.items() if value is not None}
    )


def _visited(each: VisitedHeight) -> Json:
    values = {"sink": each.sink, "scz": each.scz, "ride_height": each.ride_height}
    told = _valued({name: value for name, value in values.items() if value is not None})
    return present({"axle": each.axle, "seconds": _float(each.seconds), **told})


def _bend(bend: BendTest) -> Json:
    return present(
        {
            "statistic": _float(bend.statistic),
            "p": _float(bend.p),
            "replicates": int(bend.replicates),
            "bent": bool(bend.bent),
            "slope": _valued(bend.slope),
        }
    )


def _source_check(check: SourceCheck) -> Json:
    return present(
        {
            "axle": check.axle,
            "first": check.first,
            "second": check.second,
            "ratio": _estimate(check.ratio),
            "z": _float(check.z),
        }
    )


def _outlook(each: Outlook) -> Json:
    """Passes that might be added, and U95 with them over U95 without."""
    added = [{"setup": one.setup, "out": int(one.out), "back": int(one.back)} for one in each.added]
    return {"added": added, "shrink": present(each.shrink)}


def _drift(each: BaselineDrift) -> Json:
    """The baseline's later runs against its first."""
    told = {
        "setup": each.setup,
        "quantity": each.quantity,
        "runs": [int(run) for run in each.runs],
        "changes": [_estimate(change) for change in each.changes if _is_whole(change)],
        "statistic": _float(each.statistic),
        "p": _float(each.p),
        "moved": bool(each.moved),
    }
    return present(told)


def _stand_test(test: StandTest) -> Json:
    entered = test.entered if test.entered is not None and _is_whole(test.entered) else None
    return present(
        {
            "quantity": test.quantity,
            "measured": _estimate(test.measured),
            "entered": _estimate(entered) if entered else None,
            "z": _float(test.z),
            "text": test.text,
        }
    )


def _valued(estimates: Mapping[str, Estimate]) -> Json:
    """Estimates that are numbers throughout; one without a finite value or interval is left out."""
    return {name: _estimate(each) for name, each in estimates.items() if _is_whole(each)}


def _estimate(estimate: Estimate) -> Json:
    return {
        "value": float(estimate.value),
        "u": float(estimate.u),
        "u95": float(estimate.u95),
        "low95": float(estimate.low95),
        "high95": float(estimate.high95),
        "unit": _unit(estimate.unit),
        "source": estimate.source,
    }


def _pass(each: Pass) -> Json:
    return {
        "run": each.run,
        "kind": each.kind,
        "direction": DIRECTION_NAMES.get(each.direction, "unknown"),
        "start_s": float(each.start_s),
        "end_s": float(each.end_s),
        "used": bool(each.used),
        "reason": each.reason,
    }


def _interval_method(method: IntervalMethod) -> Json:
    """Windows with their times both ways, the fitted polynomials in SI and the areas they give."""
    windows = [
        present(
            {
                "speed_mps": float(window.speed_mps),
                "times_out_s": _numbers(window.times_out_s),
                "times_back_s": _numbers(window.times_back_s),
                "mean_time_s": _float(window.mean_time_s),
                "precision": _float(window.precision),
                "force_n": _float(window.force_n),
            }
        )
        for window in method.windows
    ]
    areas = {"scx_three_term": method.scx_three_term, "scx_two_term": method.scx_two_term}
    return present(
        {
            "windows": windows,
            "three_term": _polynomial(method.three_term),
            "two_term": _polynomial(method.two_term),
            **_valued({name: area for name, area in areas.items() if area is not None}),
            "text": method.text,
        }
    )


def _polynomial(terms: tuple[float, ...] | None) -> list[float] | None:
    """The terms, or None when there are none or one is not a number: the order carries meaning."""
    whole = terms is not None and all(math.isfinite(term) for term in terms)
    return [float(term) for term in terms] if whole and terms is not None else None


def _numbers(values: Iterable[float]) -> list[float]:
    return [float(value) for value in values if math.isfinite(value)]


def _budget_line(line: BudgetLine) -> Json:
    return present(
        {
            "quantity": line.quantity,
            "input": line.input,
            "value": _float(line.value),
            "u": _float(line.u),
            "unit": _unit(line.unit),
            "sensitivity": _float(line.sensitivity),
            "contribution": _float(line.contribution),
            "type": line.type,
            "source": line.source,
        }
    )


def _comparison(comparison: Comparison) -> Json:
    deltas = {name: _delta(delta) for name, delta in comparison.deltas.items() if _is_whole(delta)}
    return {"setup": comparison.setup, "baseline": comparison.baseline, "deltas": deltas}


def _delta(delta: Delta) -> Json:
    return present(
        {
            "value": float(delta.value),
            "u": float(delta.u),
            "u95": float(delta.u95),
            "low95": float(delta.low95),
            "high95": float(delta.high95),
            "p": _float(delta.p),
            "smallest_seen": _float(delta.smallest_seen),
            "unit": _unit(delta.unit),
        }
    )


def _finding(finding: Finding) -> Json:
    return present({"code": finding.code, "grade": finding.grade, "run": finding.run, "text": finding.text})


def _unit(unit: str) -> str:
    """The unit's symbol; of a dimensionless quantity the SI's symbol 1."""
    return "1" if unit in DIMENSIONLESS else unit


def _is_whole(each: Estimate | Delta) -> bool:
    return all(math.isfinite(number) for number in (each.value, each.u, each.low95, each.high95))


def _float(value: float | None) -> float | None:
    return None if value is None else float(value)


def _says_something(value: object) -> bool:
    return value is not None and not (isinstance(value, float) and not math.isfinite(value))
