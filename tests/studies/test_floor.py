"""The floor under errors of downforce against generalised least squares, and against what days were found to give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.simulator import draw_day
from tests.studies.floor import PLAIN, constant_in_gusts, floor, lines


def test_information_is_that_of_generalised_least_squares() -> None:
    """u² = 1/(1ᵀ C⁻¹ 1) with the whole covariance written out."""
    rng = np.random.default_rng(2_811_101)
    age = np.cumsum(rng.uniform(0.02, 0.4, 60))
    m = rng.uniform(2.0, 15.0, 60) * np.repeat([1.0, -1.0], 30)
    covariance = np.exp(-np.abs(age[:, None] - age[None, :])) / np.outer(m, m)
    ones = np.ones(60)
    assert constant_in_gusts(age, m) == pytest.approx(ones @ np.linalg.solve(covariance, ones), rel=1e-9)


@pytest.fixture(scope="module")
def day():  # type: ignore[no-untyped-def]
    return draw_day(2_811_102, replace(PLAIN, pairs=2, wind="gusty"))


def test_more_driving_and_less_wind_leave_less(day) -> None:  # type: ignore[no-untyped-def]
    gusty, calm = floor(day), floor(draw_day(2_811_102, replace(PLAIN, pairs=2, wind="calm")))
    more = floor(draw_day(2_811_102, replace(PLAIN, pairs=4, wind="gusty")))
    assert calm.coasting < 0.5 * gusty.coasting
    assert more.coasting < 0.85 * gusty.coasting
    assert gusty.driving < gusty.coasting
    said = lines([gusty], "gusty")
    assert f"{100 * gusty.coasting:.2f} % from coast-downs" in said[0]
    assert "asked for: 1.5 %, 0.4 points" in said[2]


def test_loads_of_a_day_without_noise_scatter_as_much(day) -> None:  # type: ignore[no-untyped-def]
    """The estimate that reaches the floor, on gusts drawn anew along the speeds of a run's first coast-down."""
    leg = day.runs[0].legs[0]
    v = leg.column("v")[leg.coasting][::100]
    sigma, step = leg.inputs.gust_sigma, 0.5 / leg.inputs.gust_time
    age = step * np.arange(v.size)
    correlation = np.exp(-np.abs(age[:, None] - age[None, :]))
    rng = np.random.default_rng(2_811_103)
    gusts = sigma * np.linalg.cholesky(correlation) @ rng.standard_normal((v.size, 4000))
    load = np.log((v[:, None] + gusts) ** 2 / v[:, None] ** 2)
    weight = np.linalg.solve(correlation / np.outer(v, v), np.ones(v.size))
    found = weight @ load / weight.sum()
    assert np.std(found) == pytest.approx(constant_in_gusts(age, v / (2.0 * sigma)) ** -0.5, rel=0.1)
