"""A photo as planes in which a tuft stands out: lightness, and two differences of colour at half the size.

Numbers are the square root of light (255 stays 255): a sensor's noise grows with the root of light, so that it is
about as large everywhere, and a tuft in the shade stands out nearly as much as one in the sun.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Plane = NDArray[np.float32]
LEAST_SIDE = 32
MOST_PIXELS = 60_000_000
_ROOT = (np.sqrt(np.arange(256, dtype=np.float32) * 255.0)).astype(np.float32)
_STRIP = 256
_FULL_SCALE = 0.999


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """One plane at one size: values (rows, columns); step: width of its pixels on the photo [px]; chroma: of colour."""

    values: Plane
    step: int
    chroma: bool


def as_picture(values: NDArray[np.generic]) -> Picture:
    """The photo as 8-bit red, green and blue, (rows, columns, 3).

    values: (rows, columns) or (rows, columns, 1, 3 or 4), whole numbers of 8 or more bits or floats; transparency is
    left out. More than 8 bits, and floats, are scaled so that all but the lightest thousandth are below 255.
    Raises ValueError for other shapes, and for pictures too small or too large to be read.
    """
    values = values[..., None] if values.ndim == 2 else values
    if values.ndim != 3 or values.shape[2] not in (1, 3, 4):
        raise ValueError("values: a picture has rows, columns and 1, 3 or 4 channels")
    if min(values.shape[:2]) < LEAST_SIDE or values.shape[0] * values.shape[1] > MOST_PIXELS:
        raise ValueError(
            f"values: a picture has {LEAST_SIDE} rows and columns or more, {MOST_PIXELS:,} pixels at most"
        )
    values = values[..., :3]
    eight = values if values.dtype == np.uint8 else _scaled(values)
    return np.ascontiguousarray(np.broadcast_to(eight, (*eight.shape[:2], 3)))


def _scaled(values: NDArray[np.generic]) -> Picture:
    sample = np.nan_to_num(values[::7, ::7].astype(np.float64), nan=0.0, posinf=0.0, neginf=0.0)
    top = float(np.quantile(sample, _FULL_SCALE)) or 1.0
    out = np.empty(values.shape, np.uint8)
    for row in range(0, values.shape[0], _STRIP):
        strip = np.nan_to_num(values[row : row + _STRIP].astype(np.float32), nan=0.0)
        out[row : row + _STRIP] = np.clip(strip * (255.0 / top), 0.0, 255.0)
    return out


def rooted(picture: Picture) -> Plane:
    """8-bit numbers as the square root of light, 0 to 255."""
    found: Plane = _ROOT[picture]
    return found


def planes(picture: Picture, sizes: int = 3) -> list[Level]:
    """Lightness at 1, 1/2, 1/4 … of the size, colour from 1/2 on."""
    rows, columns = picture.shape[0] // 2 * 2, picture.shape[1] // 2 * 2
    light = np.empty(picture.shape[:2], np.float32)
    half = [np.empty((rows // 2, columns // 2), np.float32) for _ in range(2)]
    for row in range(0, picture.shape[0], _STRIP):
        strip = rooted(picture[row : row + _STRIP])
        red, green, blue = (strip[..., k] for k in range(3))
        light[row : row + _STRIP] = 0.3 * red + 0.5 * green + 0.2 * blue
        stop = min(row + _STRIP, rows) // 2
        for plane, colour in zip(half, (0.7 * (red - green), 0.5 * (red + green) - blue), strict=True):
            plane[row // 2 : stop] = halved(colour)[: stop - row // 2]
    levels = [Level(light, 1, False)]
    colours = [Level(plane, 2, True) for plane in half]
    for _ in range(sizes - 1):
        last = levels[-1]
        levels.append(Level(halved(last.values), last.step * 2, False))
    found = [*levels, *colours]
    for colour_level in colours:
        level = colour_level
        for _ in range(sizes - 2):
            level = Level(halved(level.values), level.step * 2, True)
            found.append(level)
    return found


def halved(plane: Plane) -> Plane:
    """Means of 2 × 2 pixels; an odd last row or column is left out."""
    rows, columns = plane.shape[0] // 2 * 2, plane.shape[1] // 2 * 2
    even = plane[:rows, :columns]
    mean: Plane = 0.25 * (even[::2, ::2] + even[1::2, ::2] + even[::2, 1::2] + even[1::2, 1::2])
    return mean
