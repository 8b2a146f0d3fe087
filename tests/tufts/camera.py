"""What a camera does to a scene: blur, shake, noise that grows with light, and the coarse numbers of a JPEG file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import dctn, idctn
from scipy.ndimage import gaussian_filter, uniform_filter1d, zoom

F = NDArray[np.float32]

# ITU-T T.81 (the JPEG standard), annex K, tables K.1 and K.2 (from memory)
LUMINANCE = np.array([
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56,
    14, 17, 22, 29, 51, 87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92,
    49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
], dtype=np.float32).reshape(8, 8)  # fmt: skip
CHROMINANCE = np.full((8, 8), 99, dtype=np.float32)
CHROMINANCE[:4, :4] = [[17, 18, 24, 47], [18, 21, 26, 66], [24, 26, 56, 99], [47, 66, 99, 99]]


def blurred(scene: F, sigma_px: float) -> F:
    """A lens out of focus."""
    for channel in range(3):
        gaussian_filter(scene[..., channel], sigma_px, output=scene[..., channel])
    return scene


def shaken(scene: F, length_px: int) -> F:
    """A camera that moves sideways while it looks."""
    return uniform_filter1d(scene, length_px, axis=1) if length_px > 1 else scene


def noisy(scene: F, sigma: float, rng: np.random.Generator) -> F:
    """Noise of a sensor: sigma levels at mid grey, less in the dark; fine and a little coarse, as phones smooth it."""
    shape = scene.shape
    grain = rng.standard_normal(shape, dtype=np.float32)
    coarse = zoom(rng.standard_normal((shape[0] // 3 + 2, shape[1] // 3 + 2, 1), dtype=np.float32), (3, 3, 1), order=0)
    level = sigma * np.sqrt(np.clip(scene, 8.0, 255.0) / 128.0)
    scene += level * (0.9 * grain + 0.4 * coarse[: shape[0], : shape[1]])
    return scene


def compressed(scene: F, quality: int) -> NDArray[np.uint8]:
    """As a JPEG of a quality 1 to 100 gives it back: 8 × 8 blocks, coarse numbers, colour at half the size."""
    height, width = scene.shape[:2]
    padded = np.pad(np.clip(scene, 0, 255), ((0, -height % 16), (0, -width % 16), (0, 0)), mode="edge")
    r, g, b = (padded[..., k] for k in range(3))
    y = 0.299 * r + 0.587 * g + 0.114 * b
    scale = (5000 / quality if quality < 50 else 200 - 2 * quality) / 100.0
    light = _blocks(y - 128.0, np.maximum(np.round(LUMINANCE * scale), 1.0)) + 128.0
    cb, cr = (_colour(0.564 * (b - y), scale), _colour(0.713 * (r - y), scale))
    back = np.stack([light + 1.403 * cr, light - 0.344 * cb - 0.714 * cr, light + 1.773 * cb], axis=-1)
    return np.clip(np.round(back[:height, :width]), 0, 255).astype(np.uint8)


def _colour(plane: F, scale: float) -> F:
    half = plane.reshape(plane.shape[0] // 2, 2, plane.shape[1] // 2, 2).mean(axis=(1, 3))
    coarse = _blocks(half, np.maximum(np.round(CHROMINANCE * scale), 1.0))
    return np.repeat(np.repeat(coarse, 2, axis=0), 2, axis=1)


def _blocks(plane: F, table: F) -> F:
    rows, columns = plane.shape[0] // 8, plane.shape[1] // 8
    tiles = plane.reshape(rows, 8, columns, 8).swapaxes(1, 2)
    numbers = np.round(dctn(tiles, axes=(2, 3), norm="ortho") / table) * table
    whole: F = idctn(numbers, axes=(2, 3), norm="ortho").swapaxes(1, 2).reshape(plane.shape).astype(np.float32)
    return whole
