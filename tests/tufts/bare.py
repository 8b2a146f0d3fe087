"""Pictures without a tuft: noise, stripes, weave, and a car on which none is stuck."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from tests.tufts.scene import bare_car, lifelike_scenario, lit, photographed

BARE = ("car", "white noise", "car", "soft noise", "car", "stripes", "car", "weave")


def bare(kind: str, seed: int) -> NDArray[np.uint8]:
    """One of a seed."""
    rng = np.random.default_rng(seed)
    if kind in ("car", "weave"):
        about = 1.0 if kind == "car" else 0.0
        scenario = replace(lifelike_scenario(rng, 1600), distractors=about, weave=kind == "weave")
        return photographed(lit(bare_car(scenario, rng)[0], scenario, rng), scenario, rng)
    noise = rng.normal(0, rng.uniform(5, 70), (900, 1200))
    if kind == "soft noise":
        noise = gaussian_filter(noise, soft := rng.uniform(0.8, 4.0)) * 2.0 * soft
    if kind == "stripes":
        noise = rng.uniform(20, 90) * np.sign(np.sin(np.arange(1200) / rng.uniform(2, 8)))[None, :] + 0.1 * noise
    grey = np.clip(rng.uniform(80, 170) + noise, 0, 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)
