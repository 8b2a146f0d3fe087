"""How long a large correlation takes: forty setups, a thousand cases, drawn.

    python3 -m tests tests/benchmarks/test_correlation.py -s        prints the times
"""

from __future__ import annotations

import numpy as np

from server.analysis.correlation import correlate_day
from server.analysis.correlation_across import across, day_pairs
from server.analysis.correlation_words import VERDICT_WORDS
from server.figures.correlation import beside
from server.figures.correlation_unity import unity
from server.figures.theme import drawing, setup_marks
from tests.analysis.correlated_days import case, measured_day
from tests.ratios import least_times, settled

SETUPS, CASES = 40, 25
TIMES_A_SOLVE = 12_000  # at most so many times a least-squares problem of this machine


def a_solve() -> float:
    """What this machine takes for a least-squares problem of 1,000 rows and 10 columns: the best of several."""
    table = np.random.default_rng(1).standard_normal((1000, 10))
    [twenty] = least_times(lambda: [np.linalg.lstsq(table, table[:, 0], rcond=None) for _ in range(20)], rounds=5)
    return twenty / 20


def test_forty_setups_and_a_thousand_cases() -> None:
    rng = np.random.default_rng(2_640_701)
    areas = {f"S{i}": tuple(np.array([1.42, 1.55, 1.75]) * rng.uniform(0.8, 1.2, 3)) for i in range(SETUPS)}
    day, result = measured_day(areas, rng=rng)
    cases = [
        case(name, rng.uniform(20.0, 32.0), rng.uniform(24.0, 36.0), [1.03 * each for each in one])
        for name, one in areas.items()
        for _ in range(CASES)
    ]
    marks = setup_marks(list(areas))
    across(day_pairs(result, correlate_day(result, day, cases[: CASES * 6]).totals, "SCx"))
    drawing(beside(correlate_day(result, day, cases[:CASES]).totals[:1], marks, VERDICT_WORDS))  # libraries are loaded
    found = correlate_day(result, day, cases)
    told = across(day_pairs(result, found.totals, "SCx"))
    drags = [one for one in found.totals if one.quantity == "SCx"]
    jobs = (
        lambda: correlate_day(result, day, cases),
        lambda: across(day_pairs(result, found.totals, "SCx")),
        lambda: (drawing(beside(drags, marks, VERDICT_WORDS)), drawing(unity(told, marks))),
    )

    def in_solves() -> float:
        correlated, together, drawn = least_times(*jobs, rounds=2)
        whole, solve = correlated + together + drawn, a_solve()
        print(
            f"\n{SETUPS} setups, {len(cases)} cases: correlated in {correlated:.2f} s, together in {together:.2f} s, "
            f"drawn in {drawn:.2f} s; in all {whole:.2f} s, {whole / solve:.0f} times a solve"
        )
        return whole / solve

    assert len(found.totals) == 6 * SETUPS
    assert settled(in_solves, TIMES_A_SOLVE) <= TIMES_A_SOLVE
