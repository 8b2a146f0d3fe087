"""The study of correlations, in short: seasons with a known bias, and that it can fail."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.studies.correlation import SETUPS, holds, seasons, summary, text, told_by


@pytest.mark.study
def test_intervals_hold_and_verdicts_are_not_false() -> None:
    told = [one for season in seasons(48, 2_640_401) for one in told_by(season)]
    found = summary(told)
    assert holds(found), text(found)
    assert {row["stratum"] for row in found["intervals"]} >= {f"{n} setups" for n in SETUPS}
    best = next(row for row in found["power"] if (row["bias"], row["measured_rel_u"]) == (-0.08, 0.008))
    assert best["verdicts"]["share"] > 0.9


def test_intervals_that_are_too_sure_are_noticed() -> None:
    """Had half of the biases been missed, or exact predictions been said to be off, the study would say so."""
    told = [one for season in seasons(8, 2_640_501) for one in told_by(season)] * 6
    missed = [replace(one, bias_held=i % 2 == 0) for i, one in enumerate(told)]
    assert not holds(summary(missed))
    sure = tuple(("prediction-high", 0.0, 0.05) for _ in range(40))
    assert not holds(summary([*told, replace(told[0], verdicts=sure)]))
