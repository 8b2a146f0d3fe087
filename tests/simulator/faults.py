"""What goes wrong with load sensors, one small function a fault, and which sensor it befalls on a day.

Signals are in SI by role; sizes are those of damper and ride height in metres, and a push rod gets what
ROD_N_PER_M makes of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.testday.values import Axle, Car, Quantity, Signal
from tests.simulator.scenario import Scenario
from tests.simulator.suspension import SuspensionLaw

Signals = dict[str, Signal]
DRIFT_M = 5e-4
SLIP_M = 2e-3
OFFSET_M = 0.05
FRICTION_N = 40.0  # of an axle: 20 N a corner
VOLTS_PER_M = 5.0 / 0.075
ROD_N_PER_M = 40e3


@dataclass(frozen=True, slots=True)
class FaultDraw:
    """Which sensors the day's faults befall; fields of faults that the day lacks are not used."""

    faults: tuple[str, ...]
    dead: str
    dead_noise: bool
    swapped: str
    drifting: tuple[str, ...]
    drift_m: float
    volts: str
    slipped: str
    slips_at: int
    offsets: Mapping[str, float]

    def told(self) -> dict[str, str]:
        """Fault → what it befalls, for the truth of the day."""
        words = {
            "dead damper": f"{self.dead}, {'noise' if self.dead_noise else 'stuck'}",
            "swapped pair": f"dampers of the {'front' if self.swapped == 'f' else 'rear'} axle",
            "zero drift": ", ".join(self.drifting),
            "volts": self.volts,
            "slipped sensor": f"{self.slipped} from run {self.slips_at + 1} on",
            "ratio inverted": "motion ratios of both axles",
            "friction": f"{FRICTION_N:.0f} N an axle",
            "offsets": "every load sensor",
        }
        return {name: words[name] for name in self.faults}


def draw_faults(
    rng: np.random.Generator, scenario: Scenario, roles: Sequence[str], runs: int
) -> FaultDraw:
    """roles: load channels of the day; runs: how many there are."""
    dampers = [f"damper_{corner}" for corner in ("fl", "fr", "rl", "rr")]
    lone, end, whole = str(rng.choice(list(roles))), str(rng.choice(["f", "r"])), bool(rng.random() < 0.5)
    kind = lone.rsplit("_", 1)[0]
    axle = [role for role in roles if role.startswith(f"{kind}_{end}")]
    return FaultDraw(
        faults=scenario.faults,
        dead=str(rng.choice(dampers)),
        dead_noise=bool(rng.random() < 0.5),
        swapped=str(rng.choice(["f", "r"])),
        drifting=tuple(axle) if whole else (lone,),
        drift_m=DRIFT_M * float(rng.choice([-1.0, 1.0])),
        volts=str(rng.choice(dampers)),
        slipped=str(rng.choice(list(roles))),
        slips_at=int(rng.integers(1, runs)) if runs > 1 else 0,
        offsets={role: float(rng.uniform(-OFFSET_M, OFFSET_M)) for role in roles},
    )


def faulty(signals: Signals, draw: FaultDraw, run: int, rng: np.random.Generator) -> Signals:
    """The load signals of run number `run` (from 0) with the day's faults."""
    if "offsets" in draw.faults:
        signals = far_off(signals, draw.offsets)
    if "zero drift" in draw.faults:
        signals = drifting(signals, draw.drifting, draw.drift_m)
    if "slipped sensor" in draw.faults and run >= draw.slips_at:
        signals = far_off(signals, {draw.slipped: SLIP_M})
    if "dead damper" in draw.faults:
        signals = dead(signals, draw.dead, rng if draw.dead_noise else None)
    if "volts" in draw.faults:
        signals = in_volts(signals, draw.volts)
    if "swapped pair" in draw.faults:
        signals = swapped(signals, draw.swapped)
    return signals


def far_off(signals: Signals, offsets: Mapping[str, float]) -> Signals:
    """Zeros moved by the offsets [m]."""
    moved = {
        role: replace(signals[role], values=signals[role].values + offset * _scale(role))
        for role, offset in offsets.items()
    }
    return signals | moved


def drifting(signals: Signals, roles: Sequence[str], drift_m: float) -> Signals:
    """Zeros that go by drift_m evenly over the run."""
    moved = {}
    for role in roles:
        s = signals[role]
        share = (s.time_s - s.time_s[0]) / (s.time_s[-1] - s.time_s[0])
        moved[role] = replace(s, values=s.values + drift_m * _scale(role) * share)
    return signals | moved


def dead(signals: Signals, role: str, rng: np.random.Generator | None) -> Signals:
    """A sensor that stays at its first value, or with an rng writes noise of 0.5 mm about it."""
    s = signals[role]
    values = np.full_like(s.values, s.values[0])
    if rng is not None:
        values += 5e-4 * rng.standard_normal(values.size)
    return signals | {role: replace(s, values=values)}


def swapped(signals: Signals, axle: str) -> Signals:
    """Left and right damper of an axle ('f' or 'r') in each other's channel."""
    left, right = f"damper_{axle}l", f"damper_{axle}r"
    exchanged = {left: replace(signals[right], name=left), right: replace(signals[left], name=right)}
    return signals | exchanged


def in_volts(signals: Signals, role: str) -> Signals:
    """A damper's bare voltage, 0 to 5 V over 75 mm, taken for millimetres: volts/1000 in metres."""
    s = signals[role]
    volts = np.clip(2.5 + VOLTS_PER_M * (s.values - s.values.mean()), 0.0, 5.0)
    return signals | {role: replace(s, values=1e-3 * volts)}


def with_friction(law: SuspensionLaw) -> SuspensionLaw:
    """20 N a corner."""
    return replace(law, friction_n=(FRICTION_N, FRICTION_N))


def ratio_inverted(car: Car) -> Car:
    """Motion ratios of both axles stated upside down."""
    return replace(car, front=_inverted(car.front), rear=_inverted(car.rear))


def _inverted(axle: Axle) -> Axle:
    if axle.motion_ratio is None:
        return axle
    return replace(axle, motion_ratio=Quantity(1.0 / axle.motion_ratio.value))


def _scale(role: str) -> float:
    return ROD_N_PER_M if role.startswith("pushrod") else 1.0
