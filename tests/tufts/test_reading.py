"""Tufts read off made-up photos, lines of known angle, and what must never hang or be taken for a tuft.

Longer, by what makes a photo hard: python -m tests.studies tufts
"""

import math
from functools import cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from server.analysis import tuft_reading
from server.analysis.tuft_planes import as_picture
from server.analysis.tuft_reading import read_tufts
from tests.ratios import ratio, settled
from tests.studies.tufts import matches, trial
from tests.tufts.picture import stroke
from tests.tufts.scene import Scenario
from tests.tufts.scene import scene as drawn_scene

scene = cache(drawn_scene)
PLAIN = Scenario(width=1000, height=750, parts=1, length_px=60.0, aspect=14.0, noise=3.0)


@pytest.mark.parametrize(
    ("changes", "least_found", "most_false"),
    [
        ({}, 0.95, 0.02),
        ({"taped": True, "bulge": 0.2, "shadows": 1}, 0.9, 0.05),
        ({"distractors": 0.5, "two_colours": True}, 0.8, 0.15),
        ({"weave": True, "noise": 5.0, "quality": 80}, 0.85, 0.05),
    ],
)
def test_tufts_of_made_up_photos(changes: dict[str, float], least_found: float, most_false: float) -> None:
    seed = 2_650_801
    trials = [trial(scene(Scenario(**{**vars(PLAIN), **changes}), seed), seed)]
    counted = ("tufts", "found", "proposed", "false")
    tufts, found, proposed, false = (sum(getattr(t, k) for t in trials) for k in counted)
    assert tufts > 20
    assert found >= least_found * tufts
    assert false <= most_false * proposed
    assert np.median(np.abs([e for t in trials for e in t.errors_deg])) < 2.0


@pytest.mark.parametrize("angle_deg", [0.0, 17.0, 45.0, 90.0, 133.0])
@pytest.mark.parametrize("dark", [False, True])
def test_lines_of_known_angle(angle_deg: float, dark: bool) -> None:
    """Six lines 60 px long and 4 px wide, the standard picture of a line detector, to half a degree."""
    picture = np.full((300, 420, 3), 200.0 if dark else 60.0, np.float32)
    way = math.radians(angle_deg)
    half = 30.0 * np.array([math.cos(way), math.sin(way)])
    for x in (80, 200, 320):
        for y in (90, 210):
            middle = np.array([x, y], float)
            stroke(picture, np.array([middle - half, middle + half]), 2.0, np.full(3, 60.0 if dark else 200.0))
    noise = np.random.default_rng(2_650_803).normal(0, 3, picture.shape)
    blurred = gaussian_filter(picture, (0.8, 0.8, 0)) + noise
    read = read_tufts(np.clip(blurred, 0, 255).astype(np.uint8))
    assert len(read.marks) == 6
    for mark in read.marks:
        assert abs(math.remainder((mark.direction_rad or 0.0) - way, math.pi)) < math.radians(0.5)
        assert mark.length_px == pytest.approx(60.0, rel=0.15)


def test_stations_the_flow_and_tape_tell_the_root() -> None:
    drawn = scene(PLAIN, 2_650_801)
    roots = np.array([t.root for t in drawn.tufts])
    names = [str(k) for k in range(len(roots))]
    by_station = read_tufts(drawn.photo, roots_px=roots, stations=names)
    for mark, k in zip(by_station.marks, matches(by_station.marks, drawn.tufts), strict=True):
        if mark.direction_settled_by == "stations" and k is not None:
            assert mark.station == str(k)
            assert abs(math.remainder((mark.direction_rad or 0) - drawn.tufts[k].direction_rad, math.tau)) < 0.3
    assert sum(m.direction_settled_by == "stations" for m in by_station.marks) > 0.8 * len(drawn.tufts)
    flow = float(np.angle(sum(np.exp(1j * t.direction_rad) for t in drawn.tufts)))
    by_flow = read_tufts(drawn.photo, flow_rad=flow)
    assert by_flow.unsettled < read_tufts(drawn.photo).unsettled or by_flow.unsettled == 0


def test_grey_and_16_bit_pictures_are_read_alike() -> None:
    drawn = scene(Scenario(**{**vars(PLAIN), "noise": 1.0, "width": 700, "height": 520}), 2_650_805)
    grey = drawn.photo.astype(float) @ [0.299, 0.587, 0.114]
    count = len(read_tufts(grey.astype(np.uint8)).marks)
    assert count >= 0.85 * len(drawn.tufts)
    assert abs(len(read_tufts((grey * 257).astype(np.uint16)).marks) - count) <= 0.05 * count + 1


@pytest.mark.parametrize("kind", ["white noise", "soft noise", "stripes", "flat"])
def test_pictures_without_tufts(kind: str) -> None:
    """Few proposals, none where nothing is; and not much longer than where tufts are."""
    rng = np.random.default_rng(2_650_806)
    noise = rng.normal(0, 60, (900, 1200))
    picture = {
        "white noise": 128 + noise, "soft noise": 128 + 4 * gaussian_filter(noise, 2.0), "flat": 0 * noise + 90,
        "stripes": 128 + 90 * np.sign(np.sin(np.arange(1200) / 4.0))[None, :] + 0 * noise,
    }[kind]  # fmt: skip
    grey = np.clip(picture, 0, 255).astype(np.uint8)
    assert len(read_tufts(grey).marks) <= {"flat": 0, "stripes": 5}.get(kind, 25)
    tufted, most = scene(PLAIN, 2_650_801).photo, 3.0
    assert settled(lambda: ratio(lambda: read_tufts(grey), lambda: read_tufts(tufted), rounds=1), most) <= most


def test_more_than_the_most_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is proposed has a bound, and a sentence."""
    monkeypatch.setattr(tuft_reading, "MOST_TUFTS", 10)
    read = read_tufts(scene(PLAIN, 2_650_801).photo)
    assert len(read.marks) == 10
    assert "lines look like tufts; the likeliest 10 are proposed." in read.said[0]
    assert list(read.probabilities) == sorted(read.probabilities, reverse=True)


def test_what_is_no_picture_is_refused() -> None:
    for wrong in (np.zeros((5, 5)), np.zeros((40, 40, 2)), np.zeros(40)):
        with pytest.raises(ValueError, match="values: a picture has"):
            as_picture(wrong)
    with pytest.raises(ValueError, match="stations"):
        read_tufts(np.zeros((40, 40), np.uint8), roots_px=np.zeros((2, 2)), stations=["one"])
