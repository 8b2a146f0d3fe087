"""A downforce that is the prediction's is never used without saying so, and never where loads were measured."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from server.analysis.day_priors import Parameter, downforce_prior
from server.analysis.fit_findings import _downforce
from server.analysis.load_priors import SCZ_MEASURED
from tests.analysis.correlated_days import measured_day, nine_cases

AREAS = (1.42, 1.55, 1.75)


def findings(front: Parameter, rear: Parameter, measured: bool) -> list[tuple[str, str]]:
    axles = {"scz_front:A": front, "scz_rear:A": rear}
    priors = SimpleNamespace(parameters=list(axles.values()), index=list(axles).index)
    problem = SimpleNamespace(priors=priors, setup_names=("A",), measured_setups=("A",) if measured else ())
    return [(one.code, one.text) for one in _downforce(SimpleNamespace(problem=problem))]  # type: ignore[arg-type]


def parameter(source: str, u: float) -> Parameter:
    return Parameter("scz", "SCz", 1.6, u, "m²", source)  # type: ignore[arg-type]


def test_it_is_said() -> None:
    ((code, text),) = findings(parameter("predicted", 0.24), parameter("predicted", 0.26), measured=False)
    assert code == "downforce-predicted"
    assert "front and rear axles" in text
    ((_, text),) = findings(parameter("default", SCZ_MEASURED.u), parameter("predicted", 0.26), measured=True)
    assert "of the rear axle is" in text


def test_nothing_is_said_where_loads_were_measured_or_typed() -> None:
    loaded = parameter("default", SCZ_MEASURED.u)
    assert findings(loaded, loaded, measured=True) == []
    assert findings(parameter("typed", 0.1), parameter("typed", 0.1), measured=False) == []


def test_the_predicted_prior_is_wide_and_named_so() -> None:
    day, _ = measured_day({"A": AREAS})
    from dataclasses import replace

    prior = downforce_prior(replace(day, predictions=tuple(nine_cases("A", AREAS))), day.setups[0], "front")
    assert prior.source == "predicted"
    assert prior.u > 0.15 * 1.55
    assert prior.value == pytest.approx(1.55, rel=0.01)
