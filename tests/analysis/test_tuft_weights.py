"""Tufts are judged by weights that a study fits: they fit the code, and what made tufts hard to tell is told."""

import json
import math
from importlib.resources import files

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from server.analysis.tuft_company import COMPANY
from server.analysis.tuft_frames import ends_of
from server.analysis.tuft_judging import FEATURES
from server.analysis.tuft_reading import read_tufts
from server.analysis.tuft_weights import WEIGHTS, networks
from tests.studies.network import Shape, fitted, odds, rounded
from tests.tufts.picture import polygon, stroke

WAY = math.radians(25.0)
PLACES = [(x, y) for x in (80, 200, 320) for y in (80, 180, 280)]


def test_weights_are_of_the_features_that_the_code_tells() -> None:
    assert networks()["first"].names == FEATURES
    assert networks()["second"].names == (*FEATURES, "odds", *COMPANY)


def test_a_network_tells_what_its_numbers_say() -> None:
    """Against the formula, written out by hand for one bar."""
    kept = json.loads(files("server.analysis").joinpath(WEIGHTS).read_text("utf-8"))["first"]
    told = np.array(kept["mean"]) + 0.3 * np.array(kept["scale"])
    inner = [sum(0.3 * row[k] for row in kept["inner"]) for k in range(len(kept["outer"]))]
    hidden = [math.tanh(one + offset) for one, offset in zip(inner, kept["inner_offset"], strict=True)]
    expected = sum(v * h for v, h in zip(kept["outer"], hidden, strict=True)) + kept["offset"]
    assert networks()["first"].odds(told[None])[0] == pytest.approx(expected, rel=1e-6)


def test_a_network_learns_what_no_straight_line_parts() -> None:
    """Exclusive or of two signs: a logistic regression is right for half of them, a layer of tanh for all."""
    rng = np.random.default_rng(2_765_950)
    told = rng.uniform(-1, 1, (600, 2))
    true = (told[:, 0] > 0) != (told[:, 1] > 0)
    network = fitted(told, true, Shape(hidden=8, penalty=1e-5, starts=2))
    fresh = rng.uniform(-1, 1, (400, 2))
    right = (odds(network, fresh) > 0) == ((fresh[:, 0] > 0) != (fresh[:, 1] > 0))
    assert right.mean() > 0.95
    assert rounded(network, ("one", "two"))["offset"] == pytest.approx(network["offset"], rel=1e-3)


def picture_of(colour: tuple[int, int, int], besides: str) -> np.ndarray:
    """Nine threads 60 px long on grey, half of the grey light or with a dark shade beside each."""
    picture = np.full((360, 420, 3), 90.0, np.float32)
    if besides == "an edge through them":
        polygon(picture, np.array([[200.0, 0.0], [420.0, 0.0], [420.0, 360.0], [200.0, 360.0]]), np.full(3, 215.0))
    half = 30.0 * np.array([math.cos(WAY), math.sin(WAY)])
    for place in PLACES:
        ends = np.array([place - half, place + half])
        if besides == "a shade beside them":
            stroke(picture, ends + np.array([-2.0, 6.0]), 1.8, np.full(3, 45.0))
        stroke(picture, ends, 1.8, np.array(colour, float))
    noise = np.random.default_rng(2_765_951).normal(0, 3, picture.shape)
    return np.clip(gaussian_filter(picture, (0.8, 0.8, 0)) + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("besides", ["an edge through them", "a shade beside them"])
def test_threads_over_an_edge_and_beside_their_shade(besides: str) -> None:
    """Each once, neither the edge nor a shade, and their known angle within its own uncertainty."""
    marks = read_tufts(picture_of((235, 70, 140), besides)).marks
    middles = [tuple(ends_of([mark]).mean(axis=0)) for mark in marks]
    near = [min(range(len(PLACES)), key=lambda k: math.dist(PLACES[k], middle)) for middle in middles]
    assert sorted(near) == list(range(len(PLACES)))
    for mark, middle, k in zip(marks, middles, near, strict=True):
        assert math.dist(middle, PLACES[k]) < 5.0
        u = mark.direction_u_rad or 0.0
        assert abs(math.remainder((mark.direction_rad or 0.0) - WAY, math.pi)) < 2.5 * u < math.radians(7.5)
