"""A short coverage study of the product's fit on hostile days: a broken interval fails it.

The long one is `python -m tests.studies coverage --days 1000`.
"""

from __future__ import annotations

import pytest

from tests.studies.report import one_setup_a_day
from tests.studies.runner import Plan, run
from tests.studies.statistics import Tally, allowed_range, allowed_rms_z, tally

DAYS = 36
TAIL = 0.002
# small days of the mixture: a fit of each takes about a second
SMALL = {"pairs": 2, "setups": 1}


def coverage_of(fitter: str) -> tuple[Tally, list[str]]:
    days = run(Plan(DAYS, first_seed=20_001, fitter=fitter, changes=SMALL))
    return tally([claim for _, claim in one_setup_a_day(days)]), [d.error for d in days if d.error]


def holds(found: Tally) -> bool:
    """Whether honest 95 % intervals would look like this in all but `TAIL` of such studies."""
    least, _ = allowed_range(found.answered, TAIL)
    _, widest = allowed_rms_z(found.answered, TAIL)
    return found.covered >= least and found.rms_z is not None and found.rms_z <= widest


@pytest.mark.study
def test_intervals_hold_the_truth_on_hostile_days() -> None:
    found, errors = coverage_of("product")
    assert not errors, errors[0]
    assert found.missing <= 2, f"{found.missing} of {DAYS} days without an area"
    assert holds(found), found
    # an interval that is held because it says nothing is no good either
    assert found.median_relative_u is not None
    assert found.median_relative_u < 0.06


@pytest.mark.study
def test_intervals_hold_the_truth_where_coast_downs_were_typed_by_hand() -> None:
    """The long one is `python -m tests.studies coverage --typed --days 400 --first-seed 53001`."""
    days = run(Plan(DAYS, first_seed=52_001, fitter="typed", changes={"setups": 1}, typed=True))
    assert not any(d.error for d in days)
    found = tally([claim for _, claim in one_setup_a_day(days)])
    assert holds(found), found
    assert found.median_relative_u is not None
    assert found.median_relative_u < 0.09


@pytest.mark.study
def test_the_short_study_fails_a_broken_interval() -> None:
    honest, _ = coverage_of("honest")
    broken, _ = coverage_of("overconfident")
    assert holds(honest)
    assert not holds(broken)
