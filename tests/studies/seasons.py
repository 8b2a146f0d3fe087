"""Made seasons whose truth is known: do the intervals of differences over days hold, few days or many, alike or not?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from server.inference.day_effects import DayTold, day_effects
from server.inference.effects_told import told
from tests.studies.statistics import clopper_pearson

TRUTH = np.array([145.0, 150.0, 140.0])
WEIGHTS = np.array([-1.0, 1.0, 0.0])
SHARED = 1.5
DAYS, MISSING, SCATTERS = (2, 3, 6, 12), (0.0, 0.4), ((1, 0), (1, 1), (2, 2), (4, 4))


@dataclass(frozen=True, slots=True)
class Kind:
    """Days of a season; how often a setup was not run; τ_b and τ_d over a typical own u of a day."""

    days: int
    missing: float
    between: int
    own: int

    @property
    def words(self) -> str:
        ran = "all ran all" if self.missing == 0.0 else f"{self.missing:.0%} missing"
        return f"{self.days} days, {ran}, τ_b {self.between}, τ_d {self.own}"


def kinds() -> Iterator[Kind]:
    """Every kind of season."""
    for days, missing, (between, own) in product(DAYS, MISSING, SCATTERS):
        yield Kind(days, missing, between, own)


def made_season(rng: np.random.Generator, kind: Kind) -> list[DayTold]:
    """Days with unequal errors that their setups have half in common, and errors that all days share: of one scale,
    and of each setup alone. Every setup is run on some day."""
    while True:
        shared = rng.standard_normal(1 + TRUTH.size)
        days = [_day(rng, kind, shared) for _ in range(kind.days)]
        if {place for day in days for place in day.places} == set(range(TRUTH.size)):
            return days


def _day(rng: np.random.Generator, kind: Kind, shared: np.ndarray) -> DayTold:
    ran: list[int] = []
    while not ran:
        ran = [setup for setup in range(TRUTH.size) if rng.random() > kind.missing]
    k, u = len(ran), rng.uniform(0.5, 2.0)
    own = u**2 * (0.5 * np.ones((k, k)) + np.diag(rng.uniform(0.7, 1.5, k)))
    loads = np.zeros((k, 1 + TRUTH.size))
    loads[:, 0] = SHARED * TRUTH[ran] / TRUTH[0]
    loads[np.arange(k), [1 + setup for setup in ran]] = 0.3 * SHARED
    errors = kind.between * rng.standard_normal() + kind.own * rng.standard_normal(k)
    errors = errors + np.linalg.cholesky(own) @ rng.standard_normal(k) + loads @ shared
    return DayTold(tuple(ran), TRUTH[ran] + errors, own + loads @ loads.T, loads)


def held_of(kind: Kind, seasons: int, first_seed: int) -> tuple[int, float]:
    """How many of the intervals of a difference hold the truth, and their median half width."""
    rng, truth = np.random.default_rng([first_seed, *_numbers(kind)]), float(WEIGHTS @ TRUTH)
    found = [told(day_effects(made_season(rng, kind), TRUTH.size), WEIGHTS) for _ in range(seasons)]
    return sum(abs(one.value - truth) <= one.u95 for one in found), float(np.median([one.u95 for one in found]))


def _numbers(kind: Kind) -> tuple[int, ...]:
    return kind.days, round(10 * kind.missing), kind.between, kind.own


def report(seasons: int, first_seed: int) -> Iterator[str]:
    """A line a kind of season: share held with its 99 % bounds, median half width over a typical own u."""
    for kind in kinds():
        held, half = held_of(kind, seasons, first_seed)
        low, high = clopper_pearson(held, seasons)
        yield f"{kind.words:44} held {held / seasons:.1%} ({low:.1%}–{high:.1%}), U95 {half:.2f}"
