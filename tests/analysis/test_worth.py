"""What a change is worth: covariances got back from sums and ratios, what cancels, and whether intervals hold."""

from __future__ import annotations

import numpy as np
import pytest

from server.analysis.result import Joint
from server.analysis.worth import AreaPair, Assumed, measured_pair, worth
from server.testday.values import Quantity
from tests.analysis.correlated_days import car

MASS = Quantity(308.0, 1.0)
MEAN = np.array([1.53, 1.45, 2.15, 1.42, 1.55, 1.75])


def covariance() -> np.ndarray:
    """Gusts scale all areas alike: 1.5 % shared by all, 0.6 % of each its own."""
    return np.outer(0.015 * MEAN, 0.015 * MEAN) + np.diag((0.006 * MEAN) ** 2)


def joints(draws: np.ndarray) -> dict[str, Joint]:
    x, front, rear = (draws[:, [k, k + 3]] for k in range(3))
    told = {"SCx": x, "SCz_front": front, "SCz_rear": rear, "SCz": front + rear, "LD": (front + rear) / x}
    return {name: Joint(("B", "A"), "m²", one.mean(axis=0), np.cov(one.T)) for name, one in told.items()}


def test_covariances_between_quantities_come_back() -> None:
    draws = np.random.default_rng(2_640_801).multivariate_normal(MEAN, covariance(), 40_000)
    pair = measured_pair(joints(draws), "B", "A")
    assert pair is not None
    assert pair.values == pytest.approx(MEAN, rel=1e-3)
    correlation = [c / np.sqrt(np.outer(np.diag(c), np.diag(c))) for c in (pair.covariance, covariance())]
    assert np.max(np.abs(correlation[0] - correlation[1])) < 0.06


def test_a_change_of_nothing_is_worth_nothing() -> None:
    same = AreaPair(np.concatenate([MEAN[3:], MEAN[3:]]), np.zeros((6, 6)))
    for one in worth(same, Assumed(MASS), car()):
        assert (one.value, one.low95, one.high95) == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)
        assert one.baseline > 0.0


def test_signs_are_those_of_the_trade() -> None:
    """More downforce: quicker round the circle and between the cones; more drag: more energy."""
    told = {one.event.split()[0]: one for one in worth(AreaPair(MEAN, covariance()), Assumed(MASS), car())}
    assert told["circle"].high95 < 0.0
    assert told["slalom"].high95 < 0.0
    assert told["energy"].low95 > 0.0
    assert told["energy"].value == pytest.approx(0.5 * 1.2 * 16.0**2 * 22.0 * (0.11 + 0.02 * 0.30), rel=0.03)


def test_intervals_hold_where_areas_and_assumptions_are_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Energy, of which the truth is a formula: areas measured with errors, friction and speed only assumed."""
    monkeypatch.setattr("server.analysis.worth.standing_start_time", lambda *_, **given: given["drag_area_m2"])
    rng, held = np.random.default_rng(2_640_802), 0
    for _ in range(200):
        speed = 16.0 + 1.5 * rng.standard_normal()
        told = rng.multivariate_normal(MEAN, covariance())
        truth = 0.5 * 1.2 * speed**2 * 22.0 * (MEAN[0] - MEAN[3] + 0.02 * (MEAN[1:3].sum() - MEAN[4:].sum()))
        energy = worth(AreaPair(told, covariance()), Assumed(MASS, Quantity(1.2)), car())[-1]
        held += energy.low95 <= truth <= energy.high95
    assert held / 200 > 0.95 - 3.0 * (0.95 * 0.05 / 200) ** 0.5


def test_without_downforce_there_is_no_pair() -> None:
    draws = np.random.default_rng(2_640_803).multivariate_normal(MEAN, covariance(), 100)
    told = joints(draws)
    del told["SCz_rear"]
    assert measured_pair(told, "B", "A") is None
