"""Homographies: against a library, against known planes, their uncertainty against repeated pointing, refusals."""

import math

import numpy as np
import pytest

from server.aero.homography import DegeneratePointsError, Homography, fit_homography

PART = np.array([[0, 0], [0.9, 0.05], [0.85, 0.4], [0.02, 0.35]])
PHOTO = np.array([[612.5, 388.0], [2841.0, 512.5], [2660.5, 1710.0], [701.0, 1498.5]])
# skimage.transform.ProjectiveTransform of scikit-image 0.26.0 through these four points, as it printed them
LIBRARY = {(0.4, 0.2): (1557.81118183, 1036.69349627), (0.1, 0.3): (871.68802097, 1348.46499249),
           (1.2, 0.6): (3540.35781304, 2397.16095975)}  # fmt: skip


def test_four_points_as_a_library_has_them() -> None:
    found = fit_homography(PART, PHOTO)
    for place, seen in LIBRARY.items():
        assert found.to_picture(place) == pytest.approx(seen, abs=5e-6)
        assert found.to_part(seen) == pytest.approx(place, abs=1e-8)
    assert (found.dof, found.residual_px) == (0, pytest.approx(0.0, abs=1e-6))


def many(seed: int, noise: float, count: int = 9) -> tuple[Homography, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    truth = fit_homography(PART, PHOTO)
    part = rng.uniform([0, 0], [0.9, 0.4], (count, 2))
    return truth, part, truth.to_picture(part) + rng.normal(0, noise, (count, 2))


def test_more_points_give_the_least_distance_on_the_picture() -> None:
    """No small change of the matrix comes closer to the points than what was found."""
    _, part, photo = many(2_650_501, 3.0)
    found = fit_homography(part, photo)
    best = (found.residuals_px**2).sum()
    rng = np.random.default_rng(2_650_502)
    for _ in range(30):
        near = found.matrix * (1 + 1e-5 * rng.standard_normal((3, 3)))
        flat = np.column_stack([part, np.ones(len(part))]) @ near.T
        assert (((flat[:, :2] / flat[:, 2:]) - photo) ** 2).sum() >= best - 1e-6


@pytest.mark.parametrize("count", [4, 8])
def test_u_is_how_far_repeated_pointing_scatters(count: int) -> None:
    truth, part, _ = many(2_650_503, 0.0, count)
    part = np.concatenate([PART, part[4:]])
    place, way = np.array([0.45, 0.2]), 0.7
    rng = np.random.default_rng(2_650_504)
    places, ways = [], []
    for _ in range(300):
        found = fit_homography(part, truth.to_picture(part) + rng.normal(0, 2.0, part.shape))
        places.append(found.to_picture(place))
        ways.append(found.direction_on_part(place, truth.direction_on_picture(place, way)))
    told = fit_homography(part, truth.to_picture(part), point_u_px=2.0)
    scatter = math.sqrt(np.var(places, axis=0).sum())
    assert float(told.place_u_px(place)) == pytest.approx(scatter, rel=0.15)
    assert float(told.direction_u_rad(place, way)) == pytest.approx(np.std(ways), rel=0.15)


def test_directions_are_those_of_short_arrows() -> None:
    found = fit_homography(PART, PHOTO)
    place, way = np.array([[0.3, 0.1], [0.7, 0.3]]), np.array([0.4, -2.5])
    ahead = found.to_picture(place + 1e-6 * np.column_stack([np.cos(way), np.sin(way)])) - found.to_picture(place)
    seen = found.direction_on_picture(place, way)
    assert seen == pytest.approx(np.arctan2(ahead[:, 1], ahead[:, 0]), abs=1e-5)
    assert found.direction_on_part(place, seen) == pytest.approx(way)


@pytest.mark.parametrize(
    ("part", "photo", "said"),
    [
        (PART[:3], PHOTO[:3], "3 points are too few"),
        (np.array([[0, 0], [1, 0], [2, 0.001], [1, 1]]), PHOTO, "nearly in a line on the part"),
        (PART, np.array([[0, 0], [100, 100], [200, 201], [300, 300]]), "nearly in a line on the photo"),
        (PART, PHOTO[[0, 2, 1, 3]], "from both sides at once; two of them may be swapped"),
    ],
)
def test_points_that_tell_nothing_are_refused(part: np.ndarray, photo: np.ndarray, said: str) -> None:
    with pytest.raises(DegeneratePointsError, match=said):
        fit_homography(part, photo)


def test_wrong_shapes_name_the_arguments() -> None:
    with pytest.raises(ValueError, match="part_m, picture_px"):
        fit_homography(PART, PHOTO[:3])
