"""The study of plans: what it asks for, what it says."""

from __future__ import annotations

from pathlib import Path

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
