"""One simulated day, fitted: what was claimed beside what is true, as plain values for a line of JSON."""

from __future__ import annotations

import time
import traceback
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from server.analysis.result import DayResult, Delta, Estimate
from tests.simulator import HostileDay, Scenario, draw_day
from tests.studies.fitters import Fitter

NUISANCE = (
    "linear_z",
    "gust_sigma",
    "gust_time",
    "gust_in_length",
    "undulation_rms",
    "cross_wind",
    "yaw_factor",
    "bent",
    "shaken",
    "friction",
    "faults",
)


@dataclass(frozen=True, slots=True)
class Claim:
    """An estimate (or a difference to the baseline) and its truth. value None: it could not be had.

    source: where the estimate came from: 'measured', or taken over as it was stated.
    """

    setup: str
    name: str
    truth: float
    value: float | None = None
    u: float | None = None
    low95: float | None = None
    high95: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class BendFound:
    """A setup's test of a downforce that depends on ride height. truth: it does."""

    setup: str
    truth: bool
    bent: bool
    p: float


@dataclass(frozen=True, slots=True)
class DayRecord:
    """A day of the study. interval_three, interval_two: setup → area by the interval method [m²].

    findings: their codes, each once; source_checks: axle, both sources, z of their ratio.
    """

    seed: int
    scenario: dict[str, Any]
    nuisance: dict[str, Any]
    seconds: float
    error: str = ""
    claims: tuple[Claim, ...] = ()
    deltas: tuple[Claim, ...] = ()
    interval_three: dict[str, float | None] = field(default_factory=dict)
    interval_two: dict[str, float | None] = field(default_factory=dict)
    bends: tuple[BendFound, ...] = ()
    findings: tuple[str, ...] = ()
    source_checks: tuple[tuple[str, str, str, float], ...] = ()

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)

    @staticmethod
    def from_dict(values: Mapping[str, Any]) -> DayRecord:
        plain = dict(values)
        for key in ("claims", "deltas"):
            plain[key] = tuple(Claim(**claim) for claim in plain[key])
        plain["bends"] = tuple(BendFound(**bend) for bend in plain.get("bends", ()))
        plain["findings"] = tuple(plain.get("findings", ()))
        plain["source_checks"] = tuple(tuple(check) for check in plain.get("source_checks", ()))
        return DayRecord(**plain)


def fit_one(seed: int, scenario: Scenario, fitter: Fitter) -> DayRecord:
    """Draw a day, fit it and set the claims beside the truth; a fit that raises leaves its trace."""
    hostile = draw_day(seed, scenario)
    result, error = DayResult(hostile.day.name, {}, (), (), ()), ""
    begin = time.perf_counter()
    try:
        result = fitter(hostile)
    except Exception:  # whatever a fit raises counts as a day without an answer; the trace is kept
        error = traceback.format_exc(limit=-4)
    seconds = time.perf_counter() - begin
    fitted = {s.name: s for s in result.setups}
    methods = {name: s.interval_method for name, s in fitted.items()}
    return DayRecord(
        seed=seed,
        scenario=asdict(scenario),
        nuisance={key: hostile.truth[key] for key in NUISANCE},
        seconds=round(seconds, 3),
        error=error,
        claims=_claims(hostile, {name: s.estimates for name, s in fitted.items()}),
        deltas=_deltas(hostile, result),
        interval_three={n: _value(m.scx_three_term) for n, m in methods.items() if m is not None},
        interval_two={n: _value(m.scx_two_term) for n, m in methods.items() if m is not None},
        bends=_bends(hostile, result),
        findings=tuple(sorted({finding.code for finding in result.findings})),
        source_checks=tuple((c.axle, c.first, c.second, float(c.z)) for c in result.source_checks),
    )


def _bends(hostile: HostileDay, result: DayResult) -> tuple[BendFound, ...]:
    truth = bool(hostile.truth["bent"])
    return tuple(
        BendFound(s.name, truth, bool(s.bend.bent), float(s.bend.p)) for s in result.setups if s.bend is not None
    )


def _claims(hostile: HostileDay, estimates: Mapping[str, Mapping[str, Estimate]]) -> tuple[Claim, ...]:
    """Every quantity that has a truth: SCx must be there, the others may be left out by the fit."""
    claims = []
    for setup, truths in hostile.truth["setups"].items():
        given = estimates.get(setup, {})
        claims += [
            _claim(setup, name, float(truth), given.get(name))
            for name, truth in truths.items()
            if name == "SCx" or name in given
        ]
    return tuple(claims)


def _deltas(hostile: HostileDay, result: DayResult) -> tuple[Claim, ...]:
    truths = hostile.truth["setups"]
    given = {c.setup: c for c in result.comparisons}
    claims = []
    for setup in truths:
        if setup != "A":
            delta = given[setup].deltas.get("SCx") if setup in given else None
            claims.append(_claim(setup, "SCx", truths[setup]["SCx"] - truths["A"]["SCx"], delta))
    return tuple(claims)


def _claim(setup: str, name: str, truth: float, made: Estimate | Delta | None) -> Claim:
    if made is None:
        return Claim(setup, name, truth)
    numbers = (float(made.value), float(made.u), float(made.low95), float(made.high95))
    return Claim(setup, name, truth, *numbers, source=getattr(made, "source", ""))


def _value(estimate: Estimate | None) -> float | None:
    return None if estimate is None else float(estimate.value)
