"""Early estimates: at known noise, near the fit's own, never narrower; none where the noise moved."""

from __future__ import annotations

import json
import time
from dataclasses import replace

import pytest

from server.analysis.day_fit import fit_day
from server.analysis.early_estimate import KnownNoise, known_from_json, known_noise
from server.analysis.early_fit import fit_early
from server.analysis.result import DayResult
from server.testday.values import Day
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


@pytest.fixture(scope="module")
def fitted(day: Day) -> tuple[DayResult, float]:
    begun = time.process_time()
    return fit_day(day), time.process_time() - begun


def test_an_early_estimate_is_the_fits_own_taken_wider_in_a_part_of_its_time(
    day: Day, known: KnownNoise, fitted: tuple[DayResult, float]
) -> None:
    fit_early(day, known)  # what is compiled once is not counted
    begun = time.process_time()
    early = fit_early(day, known)
    took = time.process_time() - begun
    assert early is not None
    full, full_took = fitted
    areas = {s.name: s.estimates["SCx"] for s in full.setups}
    assert {s.name for s in early.setups} == set(areas)
    for setup in early.setups:
        mine, its = setup.estimates["SCx"], areas[setup.name]
        assert abs(mine.value - its.value) < 0.5 * its.u
        assert its.u < mine.u < 1.5 * its.u
    assert took < 0.5 * full_took


def test_where_the_known_noise_does_not_hold_there_is_none(day: Day, known: KnownNoise) -> None:
    calm = tuple(tuple(x - 4.0 if name == "gust_sd" else x for name, x in zip(known.integrated, draw, strict=True))
                 for draw in known.draws[:3])  # fmt: skip
    few = replace(known, draws=calm, told=known.told[:3])
    assert fit_early(day, few) is None
    other = replace(known, mode={name: at for name, at in known.mode.items() if name != "gust_sd"})
    assert fit_early(day, other) is None
    assert fit_early(replace(day, runs=()), known) is None
