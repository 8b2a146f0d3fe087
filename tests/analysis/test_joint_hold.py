"""Axles whose joints hold back much of the air's load: wider, said, and left alone where the load is large."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from server.analysis import joint_hold
from server.analysis.day_fit import fit_day
from server.analysis.day_posterior import DayPosterior
from tests.simulator import Scenario, draw_day

PLAIN = Scenario(
    pairs=2,
    wind="calm",
    fixed_truth=True,
    dampers=True,
    load_sources=("damper",),
    cg_height_u_m=0.01,
    position_channels=False,
)


@cache
def posterior_of(seed: int = 41) -> DayPosterior:
    found: list[DayPosterior] = []
    keep = joint_hold.widened_by_joints

    def caught(posterior: DayPosterior):  # type: ignore[no-untyped-def]
        found.append(posterior)
        return keep(posterior)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("server.analysis.day_fit.widened_by_joints", caught)
        fit_day(draw_day(seed, PLAIN).day)
    return found[0]


def with_friction(friction_n: float, u_n: float = 0.0) -> DayPosterior:
    """The posterior as if the front joints held back so much, and were known so well."""
    posterior = posterior_of()
    joint = posterior.problem.priors.index("joint_front")
    mean, covariance = posterior.mode_mean.copy(), posterior.mode_covariance.copy()
    mean[joint], covariance[joint, joint] = friction_n, u_n**2
    return replace(posterior, mode_mean=mean, mode_covariance=covariance)


def front(posterior: DayPosterior) -> int:
    (setup,) = posterior.problem.measured_setups
    return posterior.problem.priors.index(f"scz_front:{setup}")


def test_free_joints_change_nothing() -> None:
    posterior, findings = joint_hold.widened_by_joints(with_friction(1.0))
    assert not [f for f in findings if " front axle" in f.text]
    column = front(posterior)
    np.testing.assert_array_equal(posterior.samples[:, column], posterior_of().samples[:, column])


def test_joints_that_hold_all_of_it_are_in_the_interval_and_said() -> None:
    posterior, findings = joint_hold.widened_by_joints(with_friction(5000.0))
    column = front(posterior)
    pressure = max(
        0.5 * posterior.problem.grid.density[i] * data.of.high_mps**2
        for i, data in enumerate(posterior.problem.grid.passes)
    )
    added = 5000.0 / (np.sqrt(3.0) * pressure)
    before = float(np.std(posterior_of().samples[:, column]))
    assert np.std(posterior.samples[:, column]) == pytest.approx(np.hypot(before, added), rel=0.05)
    assert [f.code for f in findings if " front axle" in f.text] == ["joints-hold"]


def test_joints_of_which_little_is_known_count_with_what_they_may_be() -> None:
    (known,) = [one for one in joint_hold.held_axles(with_friction(5000.0)) if one.end == "front"]
    (unknown,) = [one for one in joint_hold.held_axles(with_friction(2000.0, 3000.0)) if one.end == "front"]
    assert unknown.friction_n == pytest.approx(known.friction_n)
    assert unknown.added_u_m2 == pytest.approx(known.added_u_m2)


def test_without_positions_each_way_has_its_own_undulation() -> None:
    """Bumps met by all passes of a way at the same speeds are in the model, not in the areas."""
    names = [q.name for q in posterior_of().problem.priors.parameters if q.name.startswith("wave_")]
    assert {name.split("_")[-1] for name in names} == {"out", "back"}
    assert "undulation of the straight" in {q.label for q in posterior_of().problem.priors.parameters}
