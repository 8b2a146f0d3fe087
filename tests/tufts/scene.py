"""A made-up photo of tufts on parts of a car, drawn at random from a seed, with what is true of each tuft."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tests.tufts import bodywork, camera, light, surfaces
from tests.tufts.distractors import OVER, UNDER, Distractor
from tests.tufts.picture import F, Lie, polygon, quadrangle
from tests.tufts.strands import KnownTuft, Strand, draw

WOOL = np.array([
    [245, 245, 240], [250, 215, 40], [245, 120, 30], [235, 70, 140], [60, 200, 90], [20, 20, 22],
    [205, 30, 35], [40, 90, 200],
], dtype=float)  # fmt: skip
LEAST_CONTRAST = 75.0  # levels of red, green and blue, before shadows
BODYWORK: dict[str, tuple[Distractor, int]] = {
    "rivets": (bodywork.rivets, 4), "gap": (bodywork.gap, 4), "sticker": (bodywork.sticker, 4),
    "wheel": (bodywork.wheel, 1), "backdrop": (bodywork.backdrop, 3),
}  # fmt: skip


@dataclass(frozen=True)
class Scenario:
    """What a photo is like. length_px: of tufts.

    bodywork: how much that real bodywork has lies about; stripe: each part is half of another tone, so that threads are
    dark on light and light on dark; fuzz: how far a thread's fibres stand out, over its width; glints: per picture.
    """

    width: int = 4000
    height: int = 3000
    parts: int = 2
    weave: bool = False
    bulge: float = 0.0
    shadows: int = 0
    highlights: int = 0
    distractors: float = 0.0
    two_colours: bool = False
    taped: bool = False
    bent: float = 0.0
    fluttering: float = 0.0
    crossing: float = 0.0
    thrown_shadow: float = 0.0
    grey_alike: bool = False
    length_px: float = 110.0
    aspect: float = 16.0
    blur_px: float = 0.8
    shake_px: int = 1
    noise: float = 3.0
    quality: int = 92
    bodywork: float = 0.0
    stripe: bool = False
    fuzz: float = 0.0
    uneven: bool = False
    shade_bars: int = 0
    glints: int = 0
    shake_any_px: float = 0.0
    crisp: float = 0.0
    least_width_px: float = 2.5


@dataclass(frozen=True)
class Scene:
    """The photo (height, width, 3), the tufts that lie in full sight on it, those partly hidden or cut off by its
    edge, and where its parts lie."""

    scenario: Scenario
    photo: NDArray[np.uint8]
    tufts: tuple[KnownTuft, ...]
    partly: tuple[KnownTuft, ...]
    lies: tuple[Lie, ...]


def drawn_scenario(rng: np.random.Generator, width: int = 4000) -> Scenario:
    """A hostile mixture: each ill by itself at random."""
    often = rng.random
    scale = width / 4000.0
    length = float(np.exp(rng.uniform(np.log(max(45.0 * scale, 30.0)), np.log(260.0 * scale))))
    return Scenario(
        width=width, height=int(0.75 * width), parts=int(rng.integers(1, 4)), weave=often() < 0.35,
        bulge=float(rng.choice([0.0, rng.normal(0, 0.25)])), shadows=int(rng.integers(0, 3)),
        highlights=int(rng.integers(0, 4)), distractors=float(rng.choice([0.0, 0.5, 1.0, 1.5])),
        two_colours=often() < 0.35, taped=often() < 0.5, bent=float(rng.choice([0.0, 0.3])),
        fluttering=float(rng.choice([0.0, 0.25])), crossing=float(rng.choice([0.0, 0.1])),
        thrown_shadow=float(rng.choice([0.0, 0.5])), grey_alike=often() < 0.15, length_px=length,
        aspect=float(rng.uniform(12, 24)), blur_px=float(rng.uniform(0.4, 1.6)), shake_px=int(rng.integers(1, 4)),
        noise=float(rng.uniform(1, 8)), quality=int(rng.integers(70, 97)),
    )  # fmt: skip


def lifelike_scenario(rng: np.random.Generator, width: int = 4000) -> Scenario:
    """The same mixture with what real photographs have besides."""
    often = rng.random
    thin, shake = (float(rng.choice(among)) for among in ([1.2, 2.0, 2.5], [0.0, 0.0, 3.0, 5.0]))
    return replace(
        drawn_scenario(rng, width), bodywork=float(rng.choice([0.0, 0.5, 1.0])), stripe=often() < 0.35,
        fuzz=float(rng.choice([0.0, 0.4, 0.9])), uneven=often() < 0.5, shade_bars=int(rng.integers(0, 3)),
        glints=int(rng.choice([0, 3, 12])), shake_any_px=shake * (width / 4000) ** 0.5,
        crisp=float(rng.choice([0.0, 0.5, 1.0])), least_width_px=thin, quality=int(rng.integers(62, 95)),
    )  # fmt: skip


def scene(scenario: Scenario, seed: int) -> Scene:
    """Draw the photo of a seed."""
    rng = np.random.default_rng(seed)
    picture, stuck = bare_car(scenario, rng)
    tufts = [draw(picture, one.lie, one.strand, one.aspect) for one in stuck]
    before = picture.copy()
    for one, most in OVER.values():
        for _ in range(rng.poisson(most * scenario.distractors * 0.5)):
            one(picture, rng, scenario.length_px)
    covered = np.abs(picture - before).max(axis=2) > 0
    del before
    photo = photographed(lit(picture, scenario, rng), scenario, rng)
    seen = tuple(t for t in tufts if in_sight(t, covered))
    partly = tuple(t for t in tufts if not in_sight(t, covered))
    return Scene(scenario, photo, seen, partly, tuple({id(one.lie): one.lie for one in stuck}.values()))


@dataclass(frozen=True)
class Stuck:
    """A thread to be drawn, and how its part lies."""

    lie: Lie
    strand: Strand
    aspect: float


def bare_car(scenario: Scenario, rng: np.random.Generator) -> tuple[F, list[Stuck]]:
    """Ground, parts and what lies about, before any thread is drawn; and the threads."""
    picture = surfaces.ground((scenario.height, scenario.width), rng)
    parts = [_part(picture, scenario, place, rng) for place in range(scenario.parts)]
    for one, most in UNDER.values():
        for _ in range(rng.poisson(most * scenario.distractors)):
            one(picture, rng, scenario.length_px)
    if scenario.bodywork:
        for one, most in BODYWORK.values():
            for _ in range(rng.poisson(most * scenario.bodywork)):
                one(picture, rng, scenario.length_px)
    return picture, [one for lie, paint in parts for one in _stuck(picture, scenario, lie, paint, rng)]


def photographed(picture: F, scenario: Scenario, rng: np.random.Generator) -> NDArray[np.uint8]:
    """What a camera makes of it."""
    picture = camera.shaken(camera.blurred(picture, scenario.blur_px), scenario.shake_px)
    if scenario.shake_any_px:
        picture = light.shaken(picture, scenario.shake_any_px, rng.uniform(0, np.pi))
    return _as_file(camera.noisy(picture, scenario.noise, rng), scenario)


def lit(picture: F, s: Scenario, rng: np.random.Generator) -> F:
    """Highlights and shadows over all of it."""
    for _ in range(s.highlights):
        surfaces.highlight(picture, rng)
    for _ in range(s.shadows):
        surfaces.shadow(picture, rng)
    for _ in range(s.shade_bars):
        light.bars_of_shade(picture, rng, s.length_px)
    for _ in range(s.glints):
        light.glint(picture, rng, s.length_px)
    if s.uneven:
        light.uneven(picture, rng)
    return np.clip(picture, 0, 255, out=picture)


def _as_file(picture: F, s: Scenario) -> NDArray[np.uint8]:
    if s.crisp:
        return light.jpeg(light.crisp(picture, s.crisp), s.quality)
    return camera.compressed(picture, s.quality)


def _part(picture: F, s: Scenario, place: int, rng: np.random.Generator) -> tuple[Lie, NDArray[np.float64]]:
    """A part in its share of the picture's width, seen askew."""
    left, right = s.width * place / s.parts, s.width * (place + 1) / s.parts
    frame = np.array([[left, 0.05 * s.height], [right, 0.05 * s.height], [right, 0.95 * s.height],
                      [left, 0.95 * s.height]])  # fmt: skip
    size = np.array([right - left, s.height])
    corners = frame + rng.uniform(-0.12, 0.12, (4, 2)) * size
    lie = quadrangle(corners, s.bulge)
    paint = surfaces.CARBON if s.weave and rng.random() < 0.8 else rng.permutation(surfaces.PAINTS)[0]
    cells = (right - left) / rng.uniform(6, 30) if s.weave and paint is surfaces.CARBON else 0.0
    surfaces.panel(picture, lie, paint, cells, rng)
    if s.stripe:
        other = surfaces.PAINTS[2] if paint.mean() > 110 else surfaces.PAINTS[0]
        low, high = sorted(rng.uniform(0.1, 0.9, 2))
        polygon(picture, lie.to_picture(np.array([[low, 0.0], [high, 0.0], [high, 1.0], [low, 1.0]])), other)
    return lie, paint


def _colours(s: Scenario, paint: NDArray[np.float64], rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """Colours of wool that stand off the paint; grey_alike: some that differ in colour and hardly in lightness."""
    grey = np.array([0.299, 0.587, 0.114])
    if s.grey_alike:
        alike = [c * min((paint @ grey) / (c @ grey), 255.0 / c.max()) for c in WOOL[1:5]]
        good = [c for c in alike if np.linalg.norm(c - paint) > LEAST_CONTRAST]
        if good:
            return good[:1]
    far = [c for c in rng.permutation(WOOL) if np.linalg.norm(c - paint) > LEAST_CONTRAST]
    good = [c for c in far if abs((c - paint) @ grey) > 40]
    return good[: 2 if s.two_colours else 1]


def _stuck(
    picture: F, s: Scenario, lie: Lie, paint: NDArray[np.float64], rng: np.random.Generator
) -> list[Stuck]:
    colours = _colours(s, paint, rng)
    across = s.width / s.parts
    aspect = across / s.height
    length = s.length_px / across
    pitch = max(length * rng.uniform(1.25, 2.2), 1.0 / 14)
    mean, swirl = rng.uniform(0, 2 * np.pi), rng.normal(0, 1.0, 2)
    tape = other = None
    if s.taped:
        tape = rng.permutation(WOOL)[0]
    found = []
    for v in np.arange(pitch * aspect, 1 - pitch * aspect, pitch * aspect):
        for u in np.arange(pitch, 1 - pitch, pitch):
            root = np.array([u, v]) + rng.normal(0, 0.04, 2) * pitch * np.array([1, aspect])
            way = mean + swirl[0] * (u - 0.5) + swirl[1] * (v - 0.5) + rng.normal(0, 0.12)
            other = colours[int(rng.integers(len(colours)))]
            if s.stripe:
                other = _standing_off(picture, lie, root, colours, other)
            flutter = rng.uniform(0.15, 0.45) if rng.random() < s.fluttering else 0.0
            strand = Strand(
                root, way + (rng.normal(0, 0.9) if flutter else 0.0), length * rng.uniform(0.8, 1.15),
                max(s.length_px / s.aspect, s.least_width_px), other * rng.uniform(0.9, 1.0),
                rng.normal(0, 0.1) if rng.random() < s.bent else 0.0, flutter, rng.uniform(0.4, 1.0), tape,
                rng.uniform(0.2, 0.6) if rng.random() < s.thrown_shadow else 0.0, s.fuzz,
            )  # fmt: skip
            found.append(Stuck(lie, strand, aspect))
            if rng.random() < s.crossing:
                middle = root + 0.5 * length * np.array([np.cos(way), np.sin(way) * aspect])
                turn = way + rng.choice([-1, 1]) * rng.uniform(0.7, 1.5)
                start = middle - 0.5 * length * np.array([np.cos(turn), np.sin(turn) * aspect])
                second = Strand(start, turn, length, strand.width_px, other)
                found.append(Stuck(lie, second, aspect))
    return found


def _standing_off(
    picture: F, lie: Lie, root: NDArray[np.float64], colours: list[NDArray[np.float64]], usual: NDArray[np.float64]
) -> NDArray[np.float64]:
    """On a stripe on which a part's wool would not be seen, wool that is."""
    x, y = lie.to_picture(root)
    height, width = picture.shape[:2]
    here = picture[int(np.clip(y, 0, height - 1)), int(np.clip(x, 0, width - 1))]
    if np.linalg.norm(here - usual) > LEAST_CONTRAST:
        return usual
    return max([*colours, WOOL[0], WOOL[5]], key=lambda colour: float(np.linalg.norm(here - colour)))


def in_sight(tuft: KnownTuft, covered: NDArray[np.bool_]) -> bool:
    """Whether it lies on the picture and nearly all of it is uncovered."""
    height, width = covered.shape
    line = np.linspace(tuft.root, tuft.tip, 15)
    inside = (line > 3).all() and (line[:, 0] < width - 4).all() and (line[:, 1] < height - 4).all()
    if not inside:
        return False
    return float(covered[line[:, 1].astype(int), line[:, 0].astype(int)].mean()) < 0.1
