"""The study's statistics against references, and a short study of the real fit."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint
from typer.testing import CliRunner

from server.analysis.result import Comparison, DayResult, Delta, Estimate, SetupResult
from server.analysis.simulate import Truth, simulate_day
from server.analysis.simulate_plan import default_plan
from server.analysis.study import (
    Study,
    Trial,
    coverage_bounds,
    expected_bounds,
    run_study,
    study_to_json,
    summarise,
    trials_of,
)
from server.commands.main import app
from server.commands.study import study_report, study_sentence
from server.testday.values import Quantity


def trial(error: float, u: float = 1.0, truth: float = 5.0, quantity: str = "SCx") -> Trial:
    value = truth + error
    return Trial("A", None, quantity, "m²", "measured", truth, value, u, value - 1.96 * u, value + 1.96 * u)


@pytest.mark.parametrize(("held", "days"), [(0, 30), (1, 10), (95, 100), (950, 1000), (30, 30)])
def test_coverage_bounds_are_those_of_a_reference_library(held, days):
    # Clopper and Pearson 1934 as implemented by statsmodels
    low, high = proportion_confint(held, days, alpha=0.05, method="beta")
    assert coverage_bounds(held, days) == pytest.approx((low, high), abs=1e-12)


@pytest.mark.parametrize("days", [50, 200, 1000])
def test_expected_bounds_hold_99_percent_and_no_fewer_than_needed(days):
    low, high = (round(share * days) for share in expected_bounds(days))
    inside = binom.cdf(high, days, 0.95) - binom.cdf(low - 1, days, 0.95)
    assert inside >= 0.99
    assert binom.cdf(low - 1, days, 0.95) < 0.005
    assert binom.sf(high, days, 0.95) <= 0.005


def test_a_row_by_hand():
    (row,) = summarise([trial(1.0), trial(-1.0), trial(3.0), trial(0.0)])
    assert (row.days, row.held, row.coverage) == (4, 3, 0.75)
    assert row.bias == pytest.approx(0.75)
    assert row.rms_error == pytest.approx(math.sqrt(11.0 / 4.0))
    assert row.rms_z == pytest.approx(math.sqrt(11.0 / 4.0))
    assert row.mean_u95 == pytest.approx(1.96)
    # Gneiting and Raftery 2007, eq. 43: width, and 2/α times the distance by which the truth lies outside
    assert row.mean_score == pytest.approx(3.92 + 40.0 * (3.0 - 1.96) / 4.0)
    assert row.name == "A: SCx"


def test_honest_intervals_are_told_from_bold_ones():
    rng = np.random.default_rng(5)
    errors = rng.standard_normal(2000)
    (honest,) = summarise([trial(float(e)) for e in errors])
    (bold,) = summarise([trial(float(e), u=0.6) for e in errors])
    assert honest.expected_low <= honest.coverage <= honest.expected_high
    assert honest.rms_z == pytest.approx(1.0, abs=0.05)
    assert bold.coverage < bold.expected_low
    assert bold.rms_z == pytest.approx(1.0 / 0.6, rel=0.05)
    assert bold.mean_score > honest.mean_score


def test_estimates_and_differences_are_held_against_their_own_truth():
    truth = Truth({"A": {"SCx": 1.4, "c0": 0.02}, "B": {"SCx": 1.5, "c0": 0.02}}, None, None, {})
    area = Estimate(1.41, 0.02, 1.37, 1.45, "m²", "measured")
    unknown = Estimate(3.0, 0.1, 2.8, 3.2, "–", "measured")
    result = DayResult(
        "day",
        {},
        (SetupResult("A", {"SCx": area, "no truth of this": unknown}, ()), SetupResult("B", {}, ())),
        (Comparison("B", "A", {"SCx": Delta(0.12, 0.01, 0.10, 0.14, 0.0, 0.03, "m²")}),),
        (),
    )
    alone, difference = trials_of(result, truth)
    assert (alone.setup, alone.baseline, alone.truth, alone.value) == ("A", None, 1.4, 1.41)
    assert (difference.setup, difference.baseline) == ("B", "A")
    assert difference.truth == pytest.approx(0.1)


def test_every_quantity_of_measured_loads_is_held_against_the_truth_at_the_reference_condition():
    plan = default_plan(pairs=1, compare=False, loads=True)
    bent = replace(plan.setups[0], bend_front_per_m=Quantity(8.0))
    truth = simulate_day(replace(plan, setups=(bent,), draw=False), seed=1).truth
    names = ("SCz_front", "SCz_rear", "SCz", "balance_front", "LD", "weight_speed", "ride_height_front")
    measured = {name: Estimate(1.0, 0.1, 0.8, 1.2, "m²", "measured") for name in names}
    result = DayResult("day", {}, (SetupResult("A", measured, ()),), (), ())
    trials = {t.quantity: t for t in trials_of(result, truth)}
    assert trials.keys() == set(names)
    assert (trials["SCz_front"].truth, trials["SCz_rear"].truth) == (1.55, 1.85)
    assert trials["balance_front"].truth == pytest.approx(1.55 / 3.4)
    assert trials["LD"].truth == pytest.approx(3.4 / 1.45)
    assert 0.020 < trials["ride_height_front"].truth < 0.030
    assert {t.source for t in trials.values()} == {"measured"}


@pytest.mark.study
def test_a_short_study_holds_and_is_the_same_on_one_worker_and_on_two():
    plan = default_plan(pairs=2, compare=False)
    said = []
    alone = run_study(plan, 4, seed=3, workers=1, progress=lambda fraction, text: said.append((fraction, text)))
    together = run_study(plan, 4, seed=3, workers=2)
    assert alone == together
    assert said[-1] == (1.0, "4 of 4 days")
    row = next(row for row in alone.rows if row.quantity == "SCx")
    assert row.days == 4
    assert row.held >= 2  # one or none of four honest intervals holds once in 2,000 studies
    assert row.mean_truth == pytest.approx(1.45, abs=0.15)
    assert 0.0 < row.rms_error < 0.15
    assert alone.without_area == 0
    other = run_study(plan, 1, seed=4, workers=1)
    assert other.rows[0].mean_truth != alone.rows[0].mean_truth


def test_no_days_are_refused():
    with pytest.raises(ValueError, match="days"):
        run_study(default_plan(), 0, seed=1)


def test_report_says_how_often_the_truth_was_held():
    rows = summarise([trial(0.1, u=0.5, quantity=q) for q in ("SCx", "c0") for _ in range(40)])
    result = Study("day", 42, 1, 8, rows, without_area=2, stopped_by=(("no-area", 2),))
    text = study_report(result)
    assert study_sentence(result) in text
    assert "40 simulated days of 8 coast-downs held the truth of SCx of A in 100.0 %" in text
    assert "No drag area on 2 of 42 days: no-area (2)." in text
    found = json.loads(json.dumps(study_to_json(result)))
    assert found["rows"][0]["coverage"] == 1.0
    assert found["stopped_by"] == {"no-area": 2}
    nothing = Study("day", 3, 1, 1, (), 3, (("no-area", 3),))
    assert "3 simulated days gave no drag area" in study_report(nothing)


@pytest.mark.study
def test_command_writes_text_and_json(tmp_path):
    file = tmp_path / "study.json"
    run = CliRunner().invoke(app, ["study", "--days", "1", "--seed", "2", "--workers", "1", "--json", str(file)])
    assert run.exit_code == 0, run.output
    assert "A: SCx" in run.output
    assert "B − A: SCx" in run.output
    found = json.loads(file.read_text(encoding="utf-8"))
    assert (found["format"], found["days"], found["seed"]) == (1, 1, 2)
    assert {row["quantity"] for row in found["rows"]} >= {"SCx", "SCx_apparent", "c0"}
