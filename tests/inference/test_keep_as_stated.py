"""A parameter that keeps its prior: its own u stays, the others still feel it."""

import numpy as np
import pytest

from server.inference.gaussian import condition, keep_as_stated


def case(seed: int):
    rng = np.random.default_rng(seed)
    design = rng.normal(size=(40, 4))
    residual = rng.normal(size=40)
    prior = np.diag([4.0, 1e-4, 0.3, 9.0])
    return design.T @ design, design.T @ residual, float(residual @ residual), np.zeros(4), prior


@pytest.mark.parametrize("seed", range(4))
def test_the_kept_parameter_keeps_mean_and_u(seed: int) -> None:
    information, score, chi2, mean, prior = case(seed)
    changed, moved = keep_as_stated(information, score, mean, prior, np.array([0]))
    posterior = condition(changed, moved, chi2, 0.0, mean, prior)
    assert posterior.mean[0] == pytest.approx(0.0, abs=1e-12)
    assert posterior.covariance()[0, 0] == pytest.approx(0.25)
    # the others: known given the kept one at its mean, and widened by its prior width through their sensitivity
    others = [1, 2, 3]
    joint = (information + prior)[np.ix_(others, others)]
    held = np.linalg.inv(joint)
    np.testing.assert_allclose(posterior.mean[others], -held @ score[others], atol=1e-10)
    sensitivity = -held @ information[others, 0]
    np.testing.assert_allclose(
        posterior.covariance()[np.ix_(others, others)], held + 0.25 * np.outer(sensitivity, sensitivity), rtol=1e-9
    )


def test_its_prior_mean_must_be_nought() -> None:
    information, score, _, mean, prior = case(1)
    mean[0] = 0.1
    with pytest.raises(ValueError, match="prior_mean"):
        keep_as_stated(information, score, mean, prior, np.array([0]))


def test_two_kept_parameters_keep_their_joint_prior() -> None:
    information, score, chi2, mean, prior = case(6)
    prior[0, 3] = prior[3, 0] = 2.0
    places = np.array([0, 3])
    changed, moved = keep_as_stated(information, score, mean, prior, places)
    posterior = condition(changed, moved, chi2, 0.0, mean, prior)
    np.testing.assert_allclose(posterior.mean[places], 0.0, atol=1e-12)
    block = np.linalg.inv(prior[np.ix_(places, places)])
    np.testing.assert_allclose(posterior.covariance()[np.ix_(places, places)], block, rtol=1e-9)


@pytest.mark.parametrize("places", [[0], [0, 3]])
def test_a_prior_that_links_it_to_others_moves_it_no_more_than_rows_do(places: list[int]) -> None:
    """Linked in the prior to a parameter that the rows pull far off: mean 0 and its marginal prior all the same."""
    information, score, chi2, mean, prior = case(9)
    prior[0, 2] = prior[2, 0] = 0.9
    prior[2, 3] = prior[3, 2] = -0.7
    mean[2] = 5.0
    changed, moved = keep_as_stated(information, score, mean, prior, np.array(places))
    posterior = condition(changed, moved, chi2, 0.0, mean, prior)
    np.testing.assert_allclose(posterior.mean[places], 0.0, atol=1e-10)
    block = np.linalg.inv(prior)[np.ix_(places, places)]
    np.testing.assert_allclose(posterior.covariance()[np.ix_(places, places)], block, rtol=1e-8)
