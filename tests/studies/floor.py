"""What gusts leave to perfect instruments: the least error that any estimate of a day's downforce can have.

A gust u changes the load of both axles and the drag alike, L = ½ρ S (V + d u)², so nothing on the car but an
air-speed sensor tells it from the area. With everything else known, the load without noise and gusts an
Ornstein–Uhlenbeck process of known σ and time, log S is a constant in coloured noise, to first order in u/V:

    y_k = log S + (2 σ d_k / V_k) x_k,        x: OU of variance 1, ρ_k = exp(−its age since the sample before)
    1/u² = m_0² + Σ (m_k − ρ_k m_{k−1})²/(1 − ρ_k²),        m_k = d_k V_k/(2σ)

the Cramér–Rao bound of a linear Gaussian model (Kay, Estimation Theory, 1993, chapter 4, from memory), reached by
generalised least squares. Slow wind, cross wind, joints, zeros, springs and clocks only add to it.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.simulator import HostileDay, Scenario, draw_day
from tests.simulator.car import WHEEL_RATE_REL_U
from tests.simulator.drive import TrueLeg, TrueRun
from tests.simulator.motion import RATE_HZ

FloatArray = NDArray[np.float64]
EVERY = 20  # rows of 5 ms; a gust lasts for seconds
LEAST_MPS = 3.0
ROOMS = {"calm": (1.2, 0.4), "gusty": (1.5, 0.4)}  # asked for: per cent of an axle's SCz, points of balance
PLAIN = Scenario(
    pairs=4, fixed_truth=True, dampers=True, load_sources=("damper",), downforce_m2=(1.5, 5.0), cg_height_u_m=0.010
)


@dataclass(frozen=True, slots=True)
class Floor:
    """Least relative u of SCz from coast-downs, and from all that was driven; what the height of the centre of gravity
    as stated adds to an axle, and to the balance, by the coast-downs' own load transfer."""

    coasting: float
    driving: float
    height_front: float
    height_rear: float
    height_balance: float
    balance: float


def floor(day: HostileDay) -> Floor:
    """Of the first setup of a drawn day."""
    runs = [run for run in day.runs if run.plan.setup == "A"]
    truth, car = day.truth["setups"]["A"], day.day.car
    moved = truth["SCx"] * car.cg_height_m.u / car.wheelbase_m.value
    return Floor(
        coasting=sum(information(run, coasting=True) for run in runs) ** -0.5,
        driving=sum(information(run, coasting=False) for run in runs) ** -0.5,
        height_front=moved / truth["SCz_front"],
        height_rear=moved / truth["SCz_rear"],
        height_balance=moved / truth["SCz"],
        balance=truth["balance_front"],
    )


def information(run: TrueRun, *, coasting: bool) -> float:
    """1/u² of log S from one run [1], over coast-downs alone or all that was driven."""
    ages, weights = zip(*_legs(run, coasting), strict=True)
    return constant_in_gusts(np.concatenate(ages), np.concatenate(weights))


def constant_in_gusts(age: FloatArray, m: FloatArray) -> float:
    """1/u² of a constant seen with noise x/m; x: OU of variance 1 at these ages, in correlation times."""
    rho = np.exp(-np.diff(age))
    return float(m[0] ** 2 + np.sum((m[1:] - rho * m[:-1]) ** 2 / (1.0 - rho**2)))


def _legs(run: TrueRun, coasting: bool) -> list[tuple[FloatArray, FloatArray]]:
    """Age of the gusts, which go on through turns, and m at every sample that is used."""
    found, age, before = [], 0.0, run.legs[0].begins_s
    for leg in run.legs:
        age += (leg.begins_s - before) / leg.inputs.gust_time
        grown = age + np.cumsum(_growth(leg))
        speed = leg.column("v")
        use = np.flatnonzero(leg.coasting if coasting else speed > LEAST_MPS)[::EVERY]
        found.append((grown[use], leg.inputs.direction * speed[use] / (2.0 * leg.inputs.gust_sigma)))
        age, before = float(grown[-1]), leg.begins_s + len(leg.rows) / RATE_HZ
    return found


def _growth(leg: TrueLeg) -> FloatArray:
    """Of the gusts' age from row to row, in correlation times."""
    of = leg.inputs
    passed = np.maximum(leg.column("v") + leg.column("head"), 1.0) / of.gust_length if of.in_length else None
    return np.asarray((np.full(len(leg.rows), 1.0 / of.gust_time) if passed is None else passed) / RATE_HZ)


def lines(floors: Sequence[Floor], wind: str) -> list[str]:
    """What they come to, RMS over the days, beside what is asked for."""
    each, points = ROOMS[wind]
    coasting, driving = _rms(f.coasting for f in floors), _rms(f.driving for f in floors)
    rate = WHEEL_RATE_REL_U
    share = [f.balance * (1.0 - f.balance) * rate * np.sqrt(2.0) for f in floors]
    whole = {
        name: _rms(np.sqrt(f.coasting**2 + rate**2 + getattr(f, f"height_{name}") ** 2) for f in floors)
        for name in ("front", "rear")
    }
    balance = _rms(np.hypot(s, f.height_balance) for s, f in zip(share, floors, strict=True))
    return [
        f"{wind}, {len(floors)} days of 4 pairs from 28 to 8 m/s. What gusts alone leave to perfect instruments: "
        f"{100 * coasting:.2f} % from coast-downs, {100 * driving:.2f} % from all that is driven.",
        f"  with wheel rates known to {100 * rate:g} %: an axle {100 * np.hypot(coasting, rate):.2f} %, "
        f"{100 * np.hypot(driving, rate):.2f} % from all that is driven, balance {100 * _rms(share):.2f} points",
        f"  and the height of the centre of gravity to 10 mm: front {100 * whole['front']:.2f} %, rear "
        f"{100 * whole['rear']:.2f} %, balance {100 * balance:.2f} points; asked for: {each:g} %, {points:g} points",
    ]


def report(asked: argparse.Namespace) -> int:
    """The study as a command."""
    for wind in ROOMS:
        for line in lines([floor(draw_day(seed, _scenario(wind))) for seed in _seeds(asked)], wind):
            print(line, flush=True)
    return 0


def _scenario(wind: Any) -> Scenario:
    return replace(PLAIN, wind=wind)


def _seeds(asked: argparse.Namespace) -> range:
    return range(asked.first_seed, asked.first_seed + asked.days)


def _rms(values: Any) -> float:
    return float(np.sqrt(np.mean(np.square(list(values)))))
