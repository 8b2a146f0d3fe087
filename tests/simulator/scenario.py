"""What kind of day to draw: the controls a study turns, and the mixture a study draws from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

Wind = Literal["calm", "gusty", "mixed"]
Priors = Literal["given", "none"]
Sensors = Literal["both", "satellite", "wheel"]
GustMode = Literal["time", "length"]
SOURCES = ("damper", "ride height", "push rod")
DAMPER_FAULTS = ("dead damper", "swapped pair", "volts")
PITOTS = ("", "sound", "blocked", "slow")
FAULTS = (*DAMPER_FAULTS, "ratio inverted", "zero drift", "friction", "offsets", "slipped sensor")


@dataclass(frozen=True, slots=True)
class Scenario:
    """Controls of one simulated day.

    pairs: out-and-back pairs per setup (the baseline's are spread over its visits, at least one each).
    wind: gust strength calm 0.1–0.3, gusty 0.7–1.2, mixed 0.1–1.2 m/s.
    priors: 'given' = typed values with narrow u, 'none' = the product's wide defaults.
    linear_corner: the linear resistance c1·m·g + T1 lies more than one u from what the day states.
    speeds_mps: lift-off and end of the coast-down. one_way: out only, 2·pairs passes.
    gust_mode: correlation fixed in time or in length (frozen turbulence); None: drawn.
    hard: intermittent non-Gaussian gusts with a fast second part, and twice the undulation.
    fixed_truth: the truth is the same on all days; the stated values are drawn about it.
    survey: the day carries an elevation survey; grade_given: it carries a mean grade with u.
    heading_channel: a heading is logged (it is, too, where nothing else tells the direction).
    satellite_box: satellite data come in a recording of their own with a clock offset that differs per run.
    dampers: axle loads are logged, by load_sources; the car's file then states springs and the rest of it.
    load_sources: among SOURCES. height_sensors: two (on the axles' middles) or four.
    constant_speeds_mps: speeds that are held for some seconds, once out and once back in each setup.
    faults: among FAULTS; `faults.py` tells what each does.
    scz_bend_per_mm: relative change of downforce per mm that an axle sinks.
    bend_over_range: the same as the relative change from the lowest to the highest of speeds_mps, for each
    axle by its own sink; positive is more downforce the lower.
    downforce_m2: range of SCz of setup A where it is drawn as a whole (priors given).
    cg_height_u_m: how well the height of the centre of gravity is known.
    airspeed: a pitot tube on the car logs its air speed, among PITOTS (`pitot.py`); airspeed_u: how well its scale is
    known, stated where it is better than 0.02.
    """

    pairs: int = 4
    wind: Wind = "mixed"
    priors: Priors = "given"
    linear_corner: bool = False
    one_way: bool = False
    setups: int = 1
    anemometer: bool = True
    speeds_mps: tuple[float, float] = (28.0, 8.0)
    sensors: Sensors = "both"
    passes_per_run: int = 2
    driver_channels: bool = True
    position_channels: bool = True
    heading_channel: bool = False
    gust_mode: GustMode | None = None
    hard: bool = False
    fixed_truth: bool = False
    survey: bool = False
    grade_given: bool = False
    satellite_box: bool = False
    dampers: bool = False
    scz_bend_per_mm: float = 0.0
    load_sources: tuple[str, ...] = ("damper", "ride height")
    height_sensors: int = 2
    constant_speeds_mps: tuple[float, ...] = ()
    faults: tuple[str, ...] = ()
    bend_over_range: float = 0.0
    downforce_m2: tuple[float, float] = (0.0, 5.0)
    cg_height_u_m: float = 0.012
    airspeed: str = ""
    airspeed_u: float = 0.06

    @property
    def bent(self) -> bool:
        """Whether downforce depends on ride height."""
        return self.scz_bend_per_mm != 0.0 or self.bend_over_range != 0.0

    @property
    def needs_heading(self) -> bool:
        """Whether nothing else than a heading channel could tell which way a pass went."""
        by_position = self.position_channels and self.sensors != "wheel"
        return self.passes_per_run > 1 and not (by_position or self.one_way)

    def __post_init__(self) -> None:
        if self.pairs < 1:
            raise ValueError(f"pairs must be 1 or more, got {self.pairs}")
        if not 1 <= self.setups <= 3:
            raise ValueError(f"setups must be 1 to 3, got {self.setups}")
        if self.airspeed not in PITOTS:
            raise ValueError(f"airspeed is among {PITOTS}, got {self.airspeed!r}")
        if self.speeds_mps[0] <= self.speeds_mps[1]:
            raise ValueError(f"speeds_mps must fall, got {self.speeds_mps}")
        if self.fixed_truth and (self.priors == "none" or self.linear_corner):
            raise ValueError("fixed_truth goes with given priors and without the linear corner")
        self._check_loads()

    def _check_loads(self) -> None:
        if wrong := set(self.load_sources) - set(SOURCES):
            raise ValueError(f"load_sources are among {SOURCES}, got {sorted(wrong)}")
        if wrong := set(self.faults) - set(FAULTS):
            raise ValueError(f"faults are among {FAULTS}, got {sorted(wrong)}")
        if self.faults and not (self.dampers and self.load_sources):
            raise ValueError("faults are those of load sensors: they need dampers=True and load_sources")
        if set(self.faults) & set(DAMPER_FAULTS) and "damper" not in self.load_sources:
            raise ValueError(f"faults {DAMPER_FAULTS} need 'damper' among load_sources")
        if self.height_sensors not in (2, 4):
            raise ValueError(f"height_sensors must be 2 or 4, got {self.height_sensors}")
        if any(not 5.0 <= v <= 30.0 for v in self.constant_speeds_mps):
            raise ValueError(f"constant_speeds_mps must lie in 5 to 30, got {self.constant_speeds_mps}")
        if not 0.0 <= self.downforce_m2[0] <= self.downforce_m2[1]:
            raise ValueError(f"downforce_m2 must be a rising range above 0, got {self.downforce_m2}")


def draw_scenario(seed: int) -> Scenario:
    """The mixture that a coverage study draws from; the same seed gives the same scenario."""
    rng = np.random.default_rng([seed, 0x5CE])
    sensors: Sensors = rng.choice(["both", "satellite", "wheel"], p=[0.64, 0.18, 0.18])
    one_way = bool(rng.random() < 0.04)
    priors: Priors = rng.choice(["given", "none"], p=[0.75, 0.25])
    return Scenario(
        pairs=int(rng.choice([1, 2, 4, 8], p=[0.04, 0.26, 0.45, 0.25])),
        wind=rng.choice(["calm", "gusty", "mixed"], p=[0.25, 0.25, 0.5]),
        priors=priors,
        one_way=one_way,
        setups=int(rng.choice([1, 2, 3], p=[0.6, 0.3, 0.1])),
        anemometer=bool(rng.random() < 0.5),
        speeds_mps=[(28.0, 8.0), (20.0, 6.0), (30.0, 15.0)][rng.choice(3, p=[0.6, 0.2, 0.2])],
        sensors=sensors,
        passes_per_run=1 if one_way else int(rng.choice([1, 2, 4], p=[0.3, 0.5, 0.2])),
        driver_channels=bool(rng.random() < 0.6),
        position_channels=bool(sensors != "wheel" and rng.random() < 0.85),
        heading_channel=bool(rng.random() < (0.5 if sensors == "wheel" else 0.2)),
        hard=bool(rng.random() < 0.2),
        survey=bool(rng.random() < 0.1),
        grade_given=bool(priors == "given" and rng.random() < 0.3),
    )
