"""Light that real photographs have: uneven over the picture, sharp bars of shade, short glints; and what a phone makes
of it: shake any way round, edges made crisp, a real JPEG file."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates, zoom

from tests.tufts.distractors import somewhere, turned
from tests.tufts.picture import F, box, polygon, stroke_cover


def uneven(picture: F, rng: np.random.Generator) -> None:
    """One corner in the sun, another in the dark; the bright one may be burnt out."""
    coarse = rng.uniform(0.45, 1.5, (3, 4)).astype(np.float32)
    rows, columns = picture.shape[:2]
    light = zoom(coarse, (rows / 3 / 8, columns / 4 / 8), order=1)
    places = (np.linspace(0, size - 1, count) for size, count in zip(light.shape, (rows, columns), strict=True))
    at = np.meshgrid(*places, indexing="ij")
    picture *= map_coordinates(light, at, order=1)[..., None].astype(np.float32)


def bars_of_shade(picture: F, rng: np.random.Generator, unit: float) -> None:
    """Sharp parallel shadows, as a wing's elements, a fence or a stay throws them."""
    at, angle, pitch = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(0.5, 3.0) * unit
    width, length, deep = pitch * rng.uniform(0.08, 0.6), rng.uniform(3, 25) * unit, rng.uniform(0.35, 0.7)
    mask = np.zeros((*picture.shape[:2], 1), np.float32)
    for place in range(int(rng.integers(1, 7))):
        first, last = place * pitch, place * pitch + width
        corners = np.array([[0.0, first], [length, first], [length, last], [0.0, last]])
        polygon(mask, turned(corners, angle, 1.0, at), np.ones(1))
    picture *= 1.0 - deep * mask


def glint(picture: F, rng: np.random.Generator, unit: float) -> None:
    """The sun on an edge or a fold: short, thin, burnt out in its middle, fading towards its ends."""
    at, angle, length = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(0.4, 5.0) * unit
    t = np.linspace(-0.5, 0.5, 9)
    line = turned(np.stack([t, rng.normal(0, 0.15) * t**2], axis=1), angle, length, at)
    half = rng.uniform(0.5, 3.0) * np.clip(1.0 - 4.0 * t**2, 0.05, 1.0)
    found = box(picture, line, 12.0)
    if found is not None:
        rows, columns, x, y = found
        cover = gaussian_filter(stroke_cover(x, y, line, half), rng.uniform(0.3, 1.5))
        under = picture[rows, columns]
        under += cover[..., None] * rng.uniform(60, 230)


def shaken(picture: F, length_px: float, way_rad: float) -> F:
    """A camera that moves in a straight line while it looks."""
    steps = np.linspace(-0.5, 0.5, max(2, int(np.ceil(length_px)) + 1)) * length_px
    total = np.zeros_like(picture)
    for step in steps:
        total += _rolled(picture, step * np.sin(way_rad), step * np.cos(way_rad))
    return total / np.float32(len(steps))


def _rolled(picture: F, dy: float, dx: float) -> F:
    """Moved by a whole number of pixels, its edge repeated."""
    dy, dx = round(dy), round(dx)
    padded = np.pad(picture, ((abs(dy), abs(dy)), (abs(dx), abs(dx)), (0, 0)), mode="edge")
    return padded[abs(dy) - dy : abs(dy) - dy + picture.shape[0], abs(dx) - dx : abs(dx) - dx + picture.shape[1]]


def crisp(picture: F, strength: float) -> F:
    """Edges made steeper than they are, as phones do: each gets a bright and a dark rim."""
    for channel in range(3):
        plane = picture[..., channel]
        plane += strength * (plane - gaussian_filter(plane, 1.5))
    return picture


def jpeg(picture: F, quality: int) -> NDArray[np.uint8]:
    """Written and read as a JPEG file with colour at half the size."""
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(picture), 0, 255).astype(np.uint8)).save(out, "JPEG", quality=quality)
    with Image.open(out) as back:
        return np.asarray(back.convert("RGB"))
