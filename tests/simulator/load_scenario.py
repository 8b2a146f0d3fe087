"""The mixture of days on which axle loads are logged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.simulator.scenario import Scenario, draw_scenario

LOAD_DOWNFORCE_M2 = (1.5, 5.0)  # cars that measure downforce have some
TWO_SOURCES = (("damper", "ride height"), ("damper", "push rod"), ("ride height", "push rod"))


def draw_load_scenario(seed: int) -> Scenario:
    """A day with axle loads; pairs, winds, speeds and sensors as in `draw_scenario` of the same seed.

    Of the days 45 % log dampers alone, 15 % ride heights alone, 10 % push rods alone, 30 % two sources; a
    quarter holds constant speeds, 30 % bend by up to 15 % over the speeds, either way; on a fifth the joints
    hold 20 N a corner, on a fifth the zeros are far off.
    """
    rng = np.random.default_rng([seed, 0x10AD])
    base = draw_scenario(seed)
    two = tuple(TWO_SOURCES[rng.choice(3, p=[0.7, 0.2, 0.1])])
    single = (("damper",), ("ride height",), ("push rod",))
    sources = (*single, two)[rng.choice(4, p=[0.45, 0.15, 0.10, 0.30])]
    bend = float(rng.uniform(-0.15, 0.15))
    bent, steady, four = rng.random() < 0.30, rng.random() < 0.25, rng.random() < 0.4
    speeds = tuple(float(round(v, 1)) for v in rng.uniform(12.0, 26.0, int(rng.integers(1, 4))))
    friction, offsets = rng.random() < 0.2, rng.random() < 0.2
    return replace(
        base,
        dampers=True,
        load_sources=sources,
        height_sensors=4 if four else 2,
        constant_speeds_mps=speeds if steady else (),
        bend_over_range=bend if bent else 0.0,
        faults=("friction",) * friction + ("offsets",) * offsets,
        downforce_m2=LOAD_DOWNFORCE_M2,
        cg_height_u_m=float(rng.uniform(0.010, 0.012)),
    )
