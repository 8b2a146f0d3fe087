"""Surfaces that tufts are stuck on: tones, woven carbon, light that falls off, shadows, highlights, the ground."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter, zoom

from tests.tufts.picture import F, Lie, box, inside_convex, stroke_cover

CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
PAINTS = np.array([
    [238, 238, 236], [205, 207, 208], [28, 29, 31], [60, 62, 66], [178, 30, 34], [26, 62, 138],
    [24, 104, 66], [225, 178, 30], [120, 122, 124], [200, 100, 30],
], dtype=float)  # fmt: skip
CARBON = np.array([38.0, 39.0, 42.0])


def cloudy(shape: tuple[int, int], cell_px: float, rng: np.random.Generator) -> F:
    """Smooth random tone of mean 0 and standard deviation about 1."""
    rows, columns = int(shape[0] / cell_px) + 4, int(shape[1] / cell_px) + 4
    coarse = rng.standard_normal((rows, columns)).astype(np.float32)
    fine = zoom(coarse, (shape[0] / (rows - 3), shape[1] / (columns - 3)), order=1)
    return fine[: shape[0], : shape[1]]


def ground(shape: tuple[int, int], rng: np.random.Generator) -> F:
    """Asphalt: grey, grainy at every size."""
    tone = rng.uniform(70, 150)
    grain = gaussian_filter(rng.standard_normal(shape).astype(np.float32), 1.2) * 3.0
    flat = tone + 9.0 * grain + 6.0 * cloudy(shape, 6.0, rng) + 12.0 * cloudy(shape, shape[0] / 5, rng)
    return np.repeat(flat[..., None], 3, axis=2)


def panel(picture: F, lie: Lie, paint: F | np.ndarray, weave_cells: float, rng: np.random.Generator) -> None:
    """A part's surface: paint or woven carbon, under light that falls off over it."""
    edge = lie.to_picture(np.concatenate([np.linspace(a, b, 12) for a, b in
                                          zip(CORNERS, np.roll(CORNERS, -1, axis=0), strict=True)]))  # fmt: skip
    found = box(picture, edge, 3)
    if found is None:
        return
    rows, columns, x, y = found
    u, v = lie.to_part(x, y)
    inside = np.clip(1.0 - 400.0 * np.maximum(np.abs(u - 0.5) - 0.5, np.abs(v - 0.5) - 0.5), 0.0, 1.0)
    tone = np.repeat(np.asarray(paint, np.float32)[None, None, :], x.shape[0], axis=0)
    tone = np.repeat(tone, x.shape[1], axis=1)
    if weave_cells:
        tone *= twill(u * weave_cells, v * weave_cells, rng)[..., None]
    a, b, c = rng.uniform(-0.25, 0.25, 3)
    light = 1.0 + a * (u - 0.5) + b * (v - 0.5) + c * np.cos(3.0 * v)
    tone *= np.clip(light, 0.4, 1.5)[..., None]
    under = picture[rows, columns]
    under += np.clip(inside, 0, 1)[..., None] * (tone - under)


def twill(u: F, v: F, rng: np.random.Generator) -> F:
    """Two-by-two twill: threads cross in steps, each bright along its own way."""
    i, j = np.floor(u), np.floor(v)
    warp = np.mod(i + j, 4.0) < 2.0
    across = np.where(warp, u - i, v - j)
    depth = np.float32(rng.uniform(0.25, 0.7))
    base = np.where(warp, 1.0 + 0.3 * depth, 1.0 - 0.6 * depth)
    shaded: F = (base + depth * (np.sin(np.pi * across) - 0.6)).astype(np.float32)
    return shaded


def shadow(picture: F, rng: np.random.Generator) -> None:
    """A soft or hard shadow of something beside the picture, cutting across it."""
    height, width = picture.shape[:2]
    centre = rng.uniform([0, 0], [width, height])
    size = rng.uniform(0.2, 0.7) * width
    angles = np.sort(rng.uniform(0, 2 * np.pi, 5))
    corners = centre + size * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    quarter = 4
    x, y = np.meshgrid(np.arange(0, width, quarter, dtype=np.float32), np.arange(0, height, quarter, dtype=np.float32))
    cover = inside_convex(x, y, corners) if np.ptp(angles) > 3.0 else np.clip((x - centre[0]) / 4, 0, 1)
    soft = gaussian_filter(cover, rng.uniform(0.3, 12.0))
    whole = zoom(soft, quarter, order=1)[:height, :width]
    whole = np.pad(whole, ((0, height - whole.shape[0]), (0, width - whole.shape[1])), mode="edge")
    picture *= 1.0 - rng.uniform(0.3, 0.65) * whole[..., None]


def highlight(picture: F, rng: np.random.Generator) -> None:
    """A reflection: a long bright smear, or a hard spot of the sun."""
    height, width = picture.shape[:2]
    middle = rng.uniform([0.1 * width, 0.1 * height], [0.9 * width, 0.9 * height])
    way, size = rng.uniform(0, np.pi), rng.uniform(0.05, 0.35) * width
    bend = rng.normal(0, 0.1) * size
    t = np.linspace(-1, 1, 9)[:, None]
    along, side = np.array([np.cos(way), np.sin(way)]), np.array([-np.sin(way), np.cos(way)])
    line = middle + t * size * along + bend * t**2 * side
    width_px = rng.uniform(0.002, 0.03) * width
    found = box(picture, line, 4 * width_px)
    if found is None:
        return
    rows, columns, x, y = found
    cover = stroke_cover(x, y, line, np.full(9, width_px))
    cover = gaussian_filter(cover, width_px * rng.uniform(0.4, 1.2))
    under = picture[rows, columns]
    under += cover[..., None] * rng.uniform(40, 190)
