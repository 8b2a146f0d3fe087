"""Tufts over the frames of a burst: shake taken out, spread, which end stays, and the condition proposed."""

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.ndimage import shift as moved

from server.analysis.tuft_burst import beside_still, burst_tufts
from server.analysis.tuft_frames import shift_between, shifted
from server.analysis.tuft_unsteadiness import proposed_condition
from server.testday.tufts import TuftMark


def mark(root: tuple[float, float], way: float, swapped: bool = False) -> TuftMark:
    x, y = root
    if swapped:
        x, y, way = x + 80 * math.cos(way), y + 80 * math.sin(way), way + math.pi
    return TuftMark(x, y, math.remainder(way, math.tau), None, "machine", False, length_px=80.0, direction_u_rad=0.01)


@pytest.mark.parametrize("move", [(7.0, -4.0), (2.5, 0.5), (-31.0, 18.0)])
def test_shake_is_found(move: tuple[float, float]) -> None:
    rng = np.random.default_rng(2_650_701)
    still = np.clip(128 + 60 * gaussian_filter(rng.standard_normal((400, 500)), 2.0) * 6, 0, 255)
    other = moved(still, (move[1], move[0]), order=3, mode="nearest") + rng.normal(0, 3, still.shape)
    found = shift_between(still.astype(np.uint8), np.clip(other, 0, 255).astype(np.uint8))
    assert found == pytest.approx(move, abs=0.4)


@pytest.mark.parametrize("spread_deg", [4.0, 20.0])
def test_spread_and_root_over_frames(spread_deg: float) -> None:
    """Frames in which the machine took either end for the root: the end that stays is the root all the same."""
    rng = np.random.default_rng(2_650_702)
    shifts = [(float(dx), float(dy)) for dx, dy in rng.normal(0, 6, (12, 2))]
    frames = [
        [
            mark((300 + dx, 200 + dy), 0.8 + math.radians(rng.normal(0, spread_deg)), swapped=True),
            mark((600 + dx, 200 + dy), 0.1),
        ]
        for dx, dy in shifts
    ]
    swinging, steady = burst_tufts(frames, [shifted(*one) for one in shifts])
    assert swinging.frames == 12
    assert swinging.mark.direction_rad == pytest.approx(0.8, abs=0.2)
    assert (swinging.mark.x_px, swinging.mark.y_px) == pytest.approx((300, 200), abs=1.0)
    assert swinging.mark.direction_settled_by == "burst"
    assert swinging.mark.spread_rad == pytest.approx(math.radians(spread_deg), rel=0.5)
    assert steady.mark.direction_settled_by is None


def test_too_few_frames_tell_nothing() -> None:
    assert burst_tufts([[mark((1, 1), 0.0)]] * 2, [shifted(0.0, 0.0)] * 2) == ()


def test_a_photo_without_flow_tells_the_root() -> None:
    still = [mark((100, 100), 0.5 * math.pi)]
    found, hangs = beside_still([mark((101, 99), 0.0, swapped=True)], still)[0]
    assert hangs == pytest.approx(0.5 * math.pi)
    assert found.direction_settled_by == "no-flow"
    assert found.direction_rad == pytest.approx(0.0, abs=1e-9)
    assert (found.x_px, found.y_px) == pytest.approx((101, 99))
    assert beside_still([mark((900, 900), 0.0)], still)[0][1] is None


@pytest.mark.parametrize(
    ("spread", "way", "flow", "still", "said"),
    [
        (4, 0, 0, None, "attached"), (18, 0, 0, None, "unsteady"), (45, 0, 0, None, "separated"),
        (12, 170, 0, None, "reversed"), (4, 88, 0, 90, "separated"), (4, 3, 0, 5, "attached"),
        (None, 3, 0, None, None), (None, 170, 0, None, "reversed"),
    ],
)  # fmt: skip
def test_conditions_proposed(
    spread: float | None, way: float, flow: float, still: float | None, said: str | None
) -> None:
    told = [None if each is None else math.radians(each) for each in (spread, way, flow, still)]
    assert proposed_condition(*told) == said
