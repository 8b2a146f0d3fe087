"""How many passes: the planner against the closed form, and against days that it did not simulate."""

from __future__ import annotations

import numpy as np
import pytest

from server.analysis.asked_day import MOST_PAIRS, Wanted
from server.analysis.pass_planning import closed_form_u95, plan_passes
from server.analysis.run_order import day_plan, run_order
from server.analysis.simulate_plan import default_plan
from server.analysis.study import fit_simulated_day


def test_closed_form_falls_with_the_root_of_the_pairs_and_grows_with_gusts() -> None:
    def told(pairs: int, gust: float) -> float:
        return closed_form_u95(day_plan(default_plan(gust_sd_mps=gust), run_order("A", ["B"], pairs)), "B", "A")

    assert told(8, 0.4) == pytest.approx(told(2, 0.4) / 2.0)
    assert told(4, 1.6) == pytest.approx(2.0 * told(4, 0.8), rel=0.05)


def test_a_planned_day_tells_what_the_planner_said() -> None:
    plan, said = default_plan(gust_sd_mps=0.4), []
    found = plan_passes(plan, "A", [Wanted("B", 0.06)], seed=3, progress=lambda _share, words: said.append(words))
    told = found.differences[0]
    assert found.reached
    assert told.pairs is not None
    assert told.u95_m2 <= 0.06
    assert told.floor_m2 < told.u95_m2
    assert 0.6 < told.closed_form_m2 / told.u95_m2 < 1.6
    assert said[0] == "simulated day 1 of 4, 2 pairs"
    day = day_plan(plan, run_order("A", ["B"], found.pairs))
    trials = [t for seed in (51, 52, 53) for t in fit_simulated_day(day, seed).trials]
    widths = [0.5 * (t.high95 - t.low95) for t in trials if t.quantity == "SCx" and t.baseline == "A"]
    assert np.mean(widths) == pytest.approx(told.u95_m2, rel=0.35)


def test_what_no_number_of_passes_reaches_is_said() -> None:
    found = plan_passes(default_plan(gust_sd_mps=0.8), "A", [Wanted("B", 0.001)], seed=4)
    assert not found.reached
    assert found.differences[0].pairs is None
    assert found.pairs == MOST_PAIRS


def test_nothing_wanted_is_refused() -> None:
    with pytest.raises(ValueError, match="wanted"):
        plan_passes(default_plan(), "A", [])
