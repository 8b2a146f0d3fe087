"""What real bodywork has besides tufts: rows of rivets, gaps with a bright lip, stickers in real type, wheels; and
pieces of a real photograph behind the car."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import map_coordinates

from tests.tufts.distractors import other_tone, somewhere, turned
from tests.tufts.picture import F, disc, stroke

Points = NDArray[np.float64]
TYPE = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSans-BoldOblique.ttf", "DejaVuSerif-Bold.ttf", "cmss10.ttf")
SIGNS = "ABCDEFGHIJKLMNOPRSTUVWXYZ0123456789/-|!"


@cache
def shipped() -> Path:
    """Where the plotting package of the tests keeps its type and its one photograph."""
    import matplotlib

    return Path(matplotlib.get_data_path())


def rivets(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A row of small alike discs, each with a bright and a dark side."""
    at, angle, pitch = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(0.25, 0.9) * unit
    radius, tone = pitch * rng.uniform(0.08, 0.25), other_tone(picture, at, rng)
    for place in range(int(rng.integers(4, 16))):
        centre = turned(np.array([[float(place), 0.0]]), angle, pitch, at)[0]
        disc(picture, centre, radius, tone * 0.7)
        disc(picture, centre - 0.25 * radius, 0.7 * radius, np.clip(tone * 1.2, 0, 255))


def gap(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A gap between panels: a dark line, a bright lip beside it; often a second one crosses it."""
    at, angle = somewhere(picture, rng), rng.uniform(0, np.pi)
    for turn in (0.0, 0.5 * np.pi)[: int(rng.integers(1, 3))]:
        length, half = rng.uniform(2, 30) * unit, rng.uniform(0.6, 3.5)
        line = turned(np.array([[-0.5, 0.0], [0.5, 0.0]]), angle + turn, length, at)
        side = half * 1.8 * np.array([-np.sin(angle + turn), np.cos(angle + turn)])
        stroke(picture, line, half, rng.uniform(5, 45, 1).repeat(3))
        if rng.random() < 0.6:
            stroke(picture, line + side, half * 0.6, rng.uniform(150, 250, 1).repeat(3))


def sticker(picture: F, rng: np.random.Generator, unit: float) -> None:
    """Signs in real type, upright or turned, on the surface or on a field of their own."""
    size = max(int(rng.uniform(0.3, 2.5) * unit), 8)
    text = "".join(rng.choice(list(SIGNS), int(rng.integers(2, 12))))
    face = ImageFont.truetype(str(shipped() / "fonts/ttf" / str(rng.choice(TYPE))), size)
    left, top, right, bottom = (int(side) for side in face.getbbox(text))
    mask = Image.new("L", (right - left + size, bottom - top + size), 0)
    ImageDraw.Draw(mask).text((size // 2 - left, size // 2 - top), text, 255, font=face)
    turn = float(rng.choice([0.0, 90.0, rng.normal(0, 20)]))
    field = Image.new("L", mask.size, 255).rotate(turn, expand=True, resample=Image.Resampling.BILINEAR)
    cover = np.asarray(mask.rotate(turn, expand=True, resample=Image.Resampling.BILINEAR), np.float32) / 255.0
    at = somewhere(picture, rng)
    tone = other_tone(picture, at, rng)
    if rng.random() < 0.4:
        _lay(picture, np.asarray(field, np.float32) / 255.0, at, tone)
        tone = 255.0 - tone
    _lay(picture, cover, at, tone)


def _lay(picture: F, cover: F, at: Points, tone: Points | F) -> None:
    """Blend a tone, or a picture, over a place by a mask."""
    x, y = int(at[0] - cover.shape[1] / 2), int(at[1] - cover.shape[0] / 2)
    x0, y0 = max(x, 0), max(y, 0)
    x1, y1 = min(x + cover.shape[1], picture.shape[1]), min(y + cover.shape[0], picture.shape[0])
    if x0 >= x1 or y0 >= y1:
        return
    inner = (slice(y0 - y, y1 - y), slice(x0 - x, x1 - x))
    laid = tone[inner] if tone.ndim == 3 else tone.astype(np.float32)
    under = picture[y0:y1, x0:x1]
    under += cover[inner][..., None] * (laid - under)


def wheel(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A tyre with grooves and signs of its maker's kind, a rim with spokes and nuts."""
    at, radius = somewhere(picture, rng), rng.uniform(2.0, 7.0) * unit
    disc(picture, at, radius, np.full(3, rng.uniform(18, 45)))
    for turn in np.arange(0.0, 2 * np.pi, rng.uniform(0.12, 0.5)):
        way = np.array([np.cos(turn), np.sin(turn)])
        stroke(picture, at + np.array([[0.9], [0.98]]) * radius * way, rng.uniform(0.8, 2.5), np.full(3, 60.0))
    disc(picture, at, 0.62 * radius, np.full(3, rng.uniform(5, 60)))
    bright, half = rng.uniform(90, 230), radius * rng.uniform(0.02, 0.07)
    for turn in rng.uniform(0, 1) + np.arange(count := int(rng.integers(5, 17))) * 2 * np.pi / count:
        way = np.array([np.cos(turn), np.sin(turn)])
        stroke(picture, at + np.array([[0.12], [0.6]]) * radius * way, half, np.full(3, bright))
    for turn in np.arange(5) * 0.4 * np.pi:
        disc(picture, at + 0.1 * radius * np.array([np.cos(turn), np.sin(turn)]), 0.03 * radius, np.full(3, 200.0))
    if rng.random() < 0.7:  # signs on the side of the tyre
        for turn in rng.uniform(0, 6) + np.arange(int(rng.integers(3, 10))) * 0.11:
            way = np.array([np.cos(turn), np.sin(turn)])
            stroke(picture, at + np.array([[0.72], [0.82]]) * radius * way, 0.012 * radius, np.full(3, 215.0))


@cache
def photograph() -> F:
    """The one real photograph that the plotting package ships, (rows, columns, 3)."""
    with Image.open(shipped() / "sample_data" / "grace_hopper.jpg") as image:
        return np.asarray(image.convert("RGB"), np.float32)


def backdrop(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A piece of a real photograph, cut, turned, sized: what stands behind the car, or mirrors in it."""
    real = photograph()
    size = (np.array([rng.uniform(4, 16), rng.uniform(4, 16)]) * unit).astype(int) + 16
    scale, turn = rng.uniform(0.6, 3.0), rng.uniform(0, 2 * np.pi)
    corner = rng.uniform([0, 0], [0.6 * real.shape[0], 0.6 * real.shape[1]])
    v, u = np.meshgrid(np.arange(size[0]) / scale, np.arange(size[1]) / scale, indexing="ij")
    rows = corner[0] + v * np.cos(turn) - u * np.sin(turn)
    columns = corner[1] + v * np.sin(turn) + u * np.cos(turn)
    piece = np.stack([map_coordinates(real[..., k], [rows, columns], order=1, mode="mirror") for k in range(3)], -1)
    _lay(picture, np.full(piece.shape[:2], rng.choice([1.0, 0.35]), np.float32), somewhere(picture, rng), piece)
