"""Areas measured through soft tyres: the draws follow the curve that the linear model replaces by its tangent."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from server.analysis.day_fit import fit_day
from server.analysis.day_posterior import DayPosterior
from server.analysis.tyre_compliance import SOFTEST, bent_by_tyres, curve_and_line
from tests.simulator import Scenario, draw_day

HEIGHTS = Scenario(
    pairs=2, wind="calm", dampers=True, load_sources=("ride height",), height_sensors=4, priors="none"
)


@cache
def posterior_of(scenario: Scenario) -> DayPosterior:
    found: list[DayPosterior] = []

    def caught(posterior: DayPosterior) -> DayPosterior:
        found.append(posterior)
        return posterior

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("server.analysis.day_fit.bent_by_tyres", caught)
        fit_day(draw_day(43, scenario).day)
    return found[0]


def test_the_line_touches_the_curve_and_the_curve_is_the_series_rate() -> None:
    """Two springs in series (Beer & Johnston, from memory): what sinks by z under L has the rate L/z."""
    tau = np.array([-0.45, -1e-6, 0.0, 1e-6, 0.5])
    curve, line, slope = curve_and_line(tau, 0.0, 1.0 / 66_000.0, 0.5 / 90_000.0)
    assert curve[2] == line[2] == 1.0
    assert (curve[3] - curve[1]) / 2e-6 == pytest.approx(slope, rel=1e-5)
    by_hand = (1 / 66_000 + 1 / 180_000) / (1 / 66_000 + 1 / (180_000 * 0.55))
    assert curve[0] == pytest.approx(by_hand)
    assert np.all(curve <= line + 1e-12)  # the curve bends below its tangent: the line is too sure upwards


def test_without_springs_the_area_goes_as_the_rate_itself() -> None:
    tau = np.array([-0.4, 0.3])
    curve, line, slope = curve_and_line(tau, 0.0, 0.0, 0.5 / 90_000.0)
    assert slope == pytest.approx(1.0)
    assert curve == pytest.approx(line)
    assert curve_and_line(np.array([-2.0]), 0.0, 0.0, 1.0)[0] == pytest.approx(SOFTEST)


def test_draws_keep_their_product_with_the_compliance() -> None:
    """What ride heights tell is SCz times compliance: bent, its draws scatter less than along the line."""
    straight = posterior_of(HEIGHTS)
    bent = bent_by_tyres(straight)
    priors = straight.problem.priors
    area, tyre = priors.index("scz_front:A"), priors.index("tyre_rate_front")
    spring, own = 1.0 / 66_000.0, 0.5 / 90_000.0

    def told(posterior: DayPosterior) -> float:
        told = posterior.samples[:, area] * (spring + own / (1.0 + posterior.samples[:, tyre]))
        return float(np.std(told) / np.mean(told))

    assert told(bent) < told(straight)
    left = straight.samples[:, area] - np.mean(straight.samples[:, area])
    right = bent.samples[:, area] - np.mean(bent.samples[:, area])
    assert np.mean(right**3) < np.mean(left**3)  # the tail goes down, where soft tyres put it
    others = [i for i in range(straight.samples.shape[1]) if i not in (area, priors.index("scz_rear:A"))]
    kept = [i for i in others if not priors_name(straight, i).startswith("scz_")]
    assert np.array_equal(straight.samples[:, kept], bent.samples[:, kept])


def priors_name(posterior: DayPosterior, place: int) -> str:
    names = [parameter.name for parameter in posterior.problem.priors.parameters]
    return names[place] if place < len(names) else ""


def test_dampers_are_left_alone() -> None:
    from dataclasses import replace

    posterior = posterior_of(replace(HEIGHTS, load_sources=("damper",)))
    assert bent_by_tyres(posterior) is posterior
