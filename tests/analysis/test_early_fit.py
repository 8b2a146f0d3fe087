"""Early estimates: at known noise or one found roughly, near the fit's own, never narrower."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

import pytest

from server.analysis.day_fit import ReadyDay, fit_day, made_ready
from server.analysis.day_solve import Rough
from server.analysis.early_estimate import KnownNoise, early_posterior, known_from_json, known_noise
from server.analysis.early_fit import early_of_fit, fit_early
from server.analysis.fit_options import FitOptions
from server.analysis.result import DayResult
from server.testday.values import Day
from tests.ratios import seconds, settled
from tests.simulator import Scenario, draw_day
from tests.simulator.load_scenario import LOAD_DOWNFORCE_M2
from tests.studies.fitters import before_last_run

SEED = 2_642_001


@pytest.fixture(scope="module")
def day() -> Day:
    scenario = Scenario(pairs=2, setups=2, dampers=True, downforce_m2=LOAD_DOWNFORCE_M2)
    return draw_day(SEED, scenario).day


@pytest.fixture(scope="module")
def known(day: Day) -> KnownNoise:
    found: list[KnownNoise] = []
    fit_day(before_last_run(day), known=lambda posterior: found.append(known_noise(posterior)))
    return known_from_json(json.loads(json.dumps(found[0].as_json())))


@dataclass(frozen=True)
class Fitted:
    """A fit, what it told half-way, and its processor time without that."""

    result: DayResult
    on_the_way: DayResult | None
    took_s: float


@pytest.fixture(scope="module")
def fitted(day: Day) -> Fitted:
    told: list[DayResult | None] = []
    spent: list[float] = []

    def tell(made: ReadyDay, rough: Rough) -> None:
        spent.append(seconds(lambda: told.append(early_of_fit(made, rough))))

    results: list[DayResult] = []
    whole = seconds(lambda: results.append(fit_day(day, rough=tell)))
    return Fitted(results[0], told[0], whole - spent[0])


def near(early: DayResult | None, fit: DayResult) -> None:
    """Of all setups, near the fit's values and wider than it."""
    assert early is not None
    areas = {s.name: s.estimates["SCx"] for s in fit.setups}
    assert {s.name for s in early.setups} == set(areas)
    for setup in early.setups:
        mine, its = setup.estimates["SCx"], areas[setup.name]
        assert abs(mine.value - its.value) < 0.5 * its.u
        assert its.u < mine.u < 1.5 * its.u


def test_an_early_estimate_is_the_fits_own_taken_wider_in_a_part_of_its_time(
    day: Day, known: KnownNoise, fitted: Fitted
) -> None:
    near(fit_early(day, known), fitted.result)
    most = 0.5
    assert settled(lambda: seconds(lambda: fit_early(day, known)) / fitted.took_s, most) <= most


def test_a_first_fit_tells_one_half_way(day: Day, fitted: Fitted) -> None:
    near(fitted.on_the_way, fitted.result)
    assert fit_early(replace(day, runs=()), None) is None


def test_where_the_known_noise_does_not_hold_one_is_looked_for(day: Day, known: KnownNoise, fitted: Fitted) -> None:
    calm = tuple(tuple(x - 4.0 if name == "gust_sd" else x for name, x in zip(known.integrated, draw, strict=True))
                 for draw in known.draws[:3])  # fmt: skip
    few = replace(known, draws=calm, told=known.told[:3])
    problem = made_ready(day, FitOptions()).problem
    assert problem is not None
    assert early_posterior(problem, few) is None
    other = replace(known, mode={name: at for name, at in known.mode.items() if name != "gust_sd"})
    assert early_posterior(problem, other) is None
    early = fit_early(day, few)
    assert early is not None
    assert fitted.on_the_way is not None
    assert [s.estimates for s in early.setups] == [s.estimates for s in fitted.on_the_way.setups]
    assert fit_early(replace(day, runs=()), known) is None
