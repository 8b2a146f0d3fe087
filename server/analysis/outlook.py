"""What more passes would bring: a fitted day with passes added that are like those it has, before they are driven.

The rows of a pass do not depend on what it reads, only on how fast, where and how gusty it was. So a copy of a pass's
rows, with a wind, a tyre scatter and zeros of its own, is what one more like it will tell: the covariance of the areas
with those rows in it, over the one without, is by what U95 shrinks. New passes stand ten minutes after the last one.
What they teach of the gusts' strength is left out, so that the promise is rather too careful.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.day_evidence import normal_equations
from server.analysis.day_grid import Point
from server.analysis.day_posterior import DayPosterior
from server.analysis.day_prior_matrix import day_prior
from server.analysis.day_problem import kept_scale
from server.analysis.pass_data import PassData
from server.analysis.result import AddedPasses, Outlook
from server.inference.gaussian import keep_as_stated
from server.testday.values import FloatArray

FIRST_AFTER_S, EACH_S = 600.0, 90.0
COUNTS = (1, 2, 3, 4, 6, 8, 12)
SPLIT_COUNTS = (2, 4, 6, 8)
OF_A_SETUP = ("scx", "scz_front", "scz_rear")


def outlooks(posterior: DayPosterior, differences: Sequence[tuple[str, str]]) -> tuple[Outlook, ...]:
    """Passes added to each setup, the rarer direction first, and to both setups of each difference at once."""
    ahead = _Ahead(posterior, differences)
    names = [name for name in posterior.problem.setup_names if ahead.can_add(name)]
    tried: list[tuple[AddedPasses, ...]] = [(ahead.balanced(name, count),) for name in names for count in COUNTS]
    tried += [
        (ahead.balanced(setup, count), ahead.balanced(baseline, count))
        for setup, baseline in differences
        if setup in names and baseline in names
        for count in SPLIT_COUNTS
    ]
    return tuple(Outlook(added, ahead.shrink(added)) for added in tried)


def target_name(setup: str, baseline: str = "") -> str:
    """How an outlook names an area, and a difference of two."""
    return f"{setup} − {baseline}" if baseline else setup


@dataclass(frozen=True, slots=True)
class _Like:
    """A pass to copy (place in the grid), for a setup."""

    place: int
    setup: str


class _Ahead:
    def __init__(self, posterior: DayPosterior, differences: Sequence[tuple[str, str]]) -> None:
        self._posterior, self._problem = posterior, posterior.problem
        self._targets = self._weights(differences)
        self._now = self._variances(())

    def can_add(self, setup: str) -> bool:
        """Whether a coast-down of the setup, with a known direction, is there to be repeated."""
        return any(p.of.setup == setup and p.of.direction for p in self._coasts())

    def balanced(self, setup: str, count: int) -> AddedPasses:
        """So many passes, each in the direction that has fewer by then."""
        ways = [p.of.direction for p in self._coasts() if p.of.setup == setup]
        have = {1: ways.count(1), -1: ways.count(-1)}
        added = {1: 0, -1: 0}
        for _ in range(count):
            way = 1 if have[1] + added[1] <= have[-1] + added[-1] else -1
            added[way] += 1
        return AddedPasses(setup, added[1], added[-1])

    def shrink(self, added: Sequence[AddedPasses]) -> dict[str, float]:
        """Target → U95 with the passes over U95 without."""
        copies = [like for one in added for like in self._copies(one)]
        then = self._variances(copies)
        return {name: float(np.sqrt(then[name] / self._now[name])) for name in self._targets}

    def _coasts(self) -> list[PassData]:
        return [p for p in self._problem.grid.passes if p.of.kind == "coast-down"]

    def _copies(self, added: AddedPasses) -> list[_Like]:
        """Passes of that way to copy, the newest first; another setup's where it never went that way."""
        chosen: list[_Like] = []
        for way, count in ((1, added.out), (-1, added.back)):
            there = [i for i, p in enumerate(self._problem.grid.passes) if self._is_like(p, way)]
            mine = [i for i in there if self._problem.grid.passes[i].of.setup == added.setup] or there
            mine = mine or [i for i, p in enumerate(self._problem.grid.passes) if p.of.kind == "coast-down"]
            chosen += [_Like(mine[-1 - n % len(mine)], added.setup) for n in range(count)]
        return chosen

    @staticmethod
    def _is_like(data: PassData, way: int) -> bool:
        return data.of.kind == "coast-down" and data.of.direction == way

    def _weights(self, differences: Sequence[tuple[str, str]]) -> dict[str, FloatArray]:
        """Target → its weights over the shared columns, in their units."""
        priors = self._problem.priors

        def of(setup: str) -> FloatArray:
            weights = np.zeros(len(priors.parameters))
            place = priors.index(f"scx:{setup}")
            weights[place] = priors.u[place]
            return weights

        names = self._problem.setup_names
        single = {target_name(name): of(name) for name in names}
        return single | {target_name(a, b): of(a) - of(b) for a, b in differences if {a, b} <= set(names)}

    def _variances(self, copies: Sequence[_Like]) -> dict[str, float]:
        covariance = self._covariance(copies)
        return {name: float(w @ covariance @ w) for name, w in self._targets.items()}

    def _covariance(self, copies: Sequence[_Like]) -> FloatArray:
        """Covariance of the shared parameters, scaled, with the copied passes."""
        posterior, grid, p = self._posterior, self._problem.grid, len(self._problem.priors.parameters)
        n, more = len(grid.passes), len(copies)
        rows, owner = [posterior.rows], [posterior.linear.row_pass]
        for k, like in enumerate(copies):
            mine = posterior.rows[posterior.linear.row_pass == like.place]
            rows.append(self._as_setup(mine, grid.passes[like.place].of.setup, like.setup))
            owner.append(np.full(len(mine), n + k))
        information, _, _ = normal_equations(np.vstack(rows), np.concatenate(owner), n + more, grid.own)
        precision = self._precision(copies)
        kept = kept_scale(self._problem)
        if kept is not None:
            none = np.zeros(len(information))
            information, _ = keep_as_stated(information, none, none, precision, kept)
        return np.asarray(np.linalg.inv(information + precision)[:p, :p])

    def _as_setup(self, rows: FloatArray, was: str, now: str) -> FloatArray:
        """The rows of a pass as another setup would have driven it."""
        if was == now:
            return rows
        rows, priors = rows.copy(), self._problem.priors
        for stem in OF_A_SETUP:
            old, new = priors.index(f"{stem}:{was}"), priors.index(f"{stem}:{now}")
            rows[:, 1 + new] = rows[:, 1 + old] * priors.u[new] / priors.u[old]
            rows[:, 1 + old] = 0.0
        return rows

    def _precision(self, copies: Sequence[_Like]) -> FloatArray:
        """The prior's precision with the copies' winds, scatters and zeros in it."""
        grid, point, more = self._problem.grid, self._posterior.point, len(copies)
        last = max(p.clock_s for p in grid.passes)
        new, numbers = [], _new_numbers([p.of.run for p in grid.passes])
        for k, like in enumerate(copies):
            data = grid.passes[like.place]
            run = numbers[data.of.run] + 100_000 * sum(one.place == like.place for one in copies[:k])
            of = replace(data.of, run=run, setup=like.setup)
            new.append(replace(data, of=of, clock_s=last + FIRST_AFTER_S + EACH_S * k))
        loads = grid.loads
        if loads is not None:
            statics = [replace(s, run=d.of.run) for d, like in zip(new, copies, strict=True) for s in loads.static
                       if s.run == grid.passes[like.place].of.run]  # fmt: skip
            loads = replace(loads, static=(*loads.static, *statics))
        wider = replace(
            self._problem, grid=replace(grid, passes=(*grid.passes, *new), loads=loads), zero_priors={}
        )
        none = np.zeros(more)
        at = Point(point.theta, np.append(point.wind, none), np.append(point.scatter, none))
        return day_prior(wider, at, self._posterior.values)[1]


def _new_numbers(runs: Sequence[int]) -> Mapping[int, int]:
    """A run that nobody drove for each that was."""
    return {run: max(runs) + 1 + place for place, run in enumerate(sorted(set(runs)))}
