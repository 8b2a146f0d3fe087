"""The study of plans: what it asks for, what it says."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from server.analysis.day_request import request_plan
from tests.studies.plans import PlanTrial, random_request, report, run


@pytest.mark.parametrize("seed", range(20))
def test_every_random_request_makes_a_plan(seed: int) -> None:
    request = random_request(seed)
    plan = request_plan(request)
    assert [one.setup.name for one in plan.setups] == ["A", *(one.setup for one in request.wanted)]


def test_what_was_tried_is_read_again_and_reported(tmp_path: Path) -> None:
    store = tmp_path / "plans.jsonl"
    lines = [
        '{"seed": 1, "pairs": 4, "changes": 1, "gust_mps": 0.4, "expected_m2": 0.05, "given_m2": 0.05,'
        ' "rms_error_m2": 0.025, "closed_form_m2": 0.04}',
        '{"seed": 2, "pairs": 12, "changes": 1, "gust_mps": 0.4, "expected_m2": 0.05, "given_m2": 0.1,'
        ' "rms_error_m2": 0.025, "closed_form_m2": 0.04}',
    ]
    store.write_text("\n".join(lines) + "\n")
    trials = run(1, 2, store)
    assert [one.ratio for one in trials] == [1.0, 0.5]
    assert isinstance(trials[0], PlanTrial)
    text = report(trials)
    assert "2 plans, 2 differences" in text
    assert "within 20 %: 50 %" in text
    assert "0.98 RMS" in text
    assert "1 at the most pairs" in text


def test_the_scatter_is_split_into_the_studys_the_planners_and_what_is_left() -> None:
    rng = np.random.default_rng(3)
    trials = []
    for seed in range(400):
        said, again = (0.05 * math.exp(rng.normal(0.0, 0.06)) for _ in range(2))
        fresh = tuple(0.05 * (1.0 + 0.16 * rng.standard_normal(4)))
        given = float(np.mean(fresh))
        trials.append(PlanTrial(seed, 4, 1, 0.4, said, given, 0.02, 0.05, fresh, again))
    found = re.search(r"scatters by (\d+) %: at most (\d+) % .*?, (\d+) % .*?, (\d+) % from neither", report(trials))
    assert found
    assert [int(one) for one in found.groups()] == pytest.approx([10, 8, 6, 1], abs=3)
