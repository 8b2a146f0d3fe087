"""The helper that all tests of speed stand on: a slow program is not let through, one bent measurement is."""

import numpy as np
import pytest

from tests.ratios import TRIES, ratio, settled, times_in_turn


@pytest.mark.parametrize(
    ("measured", "held", "looked"),
    [([1.5], 1.5, 1), ([2.4, 1.9], 1.9, 2), ([2.4, 2.6, 2.1], 2.1, TRIES)],
)
def test_a_ratio_over_its_limit_is_measured_again(measured: list[float], held: float, looked: int) -> None:
    left = list(measured)
    assert settled(lambda: left.pop(0), 2.0) == held
    assert len(measured) - len(left) == looked


def test_the_longer_of_two_jobs_has_the_greater_ratio() -> None:
    table = np.ones((400, 400))
    jobs = (table.cumsum, lambda: [table.cumsum() for _ in range(20)])
    assert times_in_turn(*jobs, rounds=2).shape == (2, 2)
    assert ratio(jobs[1], jobs[0]) > 4.0
    assert ratio(jobs[0], jobs[1]) < 0.25
