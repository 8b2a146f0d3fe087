"""Fit many simulated days on several processes, a line of JSON each: a study can be stopped and resumed."""

from __future__ import annotations

import json
import multiprocessing
import os
import sys
import time
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any

from tests.simulator import Scenario, draw_load_scenario, draw_scenario
from tests.simulator.load_scenario import LOAD_DOWNFORCE_M2
from tests.simulator.typed import draw_typed_scenario
from tests.studies.differences import draw_compared_scenario
from tests.studies.fitters import FITTERS
from tests.studies.records import DayRecord, fit_one

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
WARM_UP_SEED = 999_999_937


@dataclass(frozen=True, slots=True)
class Plan:
    """Which days: `mixture` draws each day's scenario from its seed, otherwise all have the plain one.

    loads: days on which axle loads are logged; typed: days without a log, coast-downs typed by hand; compared: days
    that ran a baseline and changes.
    changes: fields of Scenario that are then set on every day.
    """

    days: int
    first_seed: int = 1
    fitter: str = "product"
    mixture: bool = True
    changes: Mapping[str, Any] = field(default_factory=dict)
    loads: bool = False
    typed: bool = False
    compared: bool = False

    def scenario(self, seed: int) -> Scenario:
        plain = Scenario(dampers=True, downforce_m2=LOAD_DOWNFORCE_M2) if self.loads else Scenario()
        return replace(self._draw(seed) if self.mixture else plain, **self.changes)

    def _draw(self, seed: int) -> Scenario:
        if self.compared:
            return draw_compared_scenario(seed)
        draw = draw_load_scenario if self.loads else draw_typed_scenario if self.typed else draw_scenario
        return draw(seed)

    @property
    def seeds(self) -> range:
        return range(self.first_seed, self.first_seed + self.days)

    @property
    def kind(self) -> dict[str, Any]:
        """What must be the same for records to belong to one study."""
        changes = {k: list(v) if isinstance(v, tuple) else v for k, v in sorted(self.changes.items())}
        kind = {"fitter": self.fitter, "mixture": self.mixture, "changes": changes}
        days = {"loads": self.loads, "typed": self.typed, "compared": self.compared}
        return kind | {name: True for name, such in days.items() if such}


def run(plan: Plan, processes: int = 1, store: Path | None = None) -> list[DayRecord]:
    """Fit every day of the plan that the store does not hold yet; returns the records in seed order."""
    done = {d.seed: d for d in _stored(store, plan)} if store is not None else {}
    todo = [seed for seed in plan.seeds if seed not in done]
    begin = time.monotonic()
    for k, record in enumerate(_fit_all(plan, todo, processes), start=1):
        done[record.seed] = record
        if store is not None:
            with store.open("a", encoding="utf-8") as lines:
                lines.write(json.dumps(record.as_dict()) + "\n")
        _tell(k, len(todo), time.monotonic() - begin)
    return [done[seed] for seed in plan.seeds]


def _stored(store: Path, plan: Plan) -> Iterator[DayRecord]:
    """Records of an earlier run; a half-written last line is cut off. The first line tells which study."""
    if not store.exists():
        store.write_text(json.dumps(plan.kind) + "\n", encoding="utf-8")
        return
    text = store.read_text(encoding="utf-8")
    whole = text[: text.rfind("\n") + 1]
    if whole != text:
        store.write_text(whole, encoding="utf-8")
    first, *lines = whole.splitlines()
    if json.loads(first) != plan.kind:
        raise SystemExit(f"{store} holds another study ({first}): give another --out, or remove it.")
    for line in lines:
        yield DayRecord.from_dict(json.loads(line))


def _fit_all(plan: Plan, seeds: list[int], processes: int) -> Iterator[DayRecord]:
    if processes <= 1 or len(seeds) <= 1:
        yield from (_fit_seed(plan, seed) for seed in seeds)
        return
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, context, _warm_up, (plan,)) as pool:
        waiting = iter(seeds)
        running = {pool.submit(_fit_seed, plan, seed) for seed in islice(waiting, 3 * processes)}
        while running:
            finished = _first_done(running)
            running -= finished
            running |= {pool.submit(_fit_seed, plan, seed) for seed in islice(waiting, len(finished))}
            yield from (f.result() for f in finished)


def _first_done(running: Iterable[Any]) -> set[Any]:
    from concurrent.futures import FIRST_COMPLETED, wait

    return set(wait(running, return_when=FIRST_COMPLETED).done)


def _fit_seed(plan: Plan, seed: int) -> DayRecord:
    return fit_one(seed, plan.scenario(seed), FITTERS[plan.fitter])


def _warm_up(plan: Plan) -> None:
    """Compile before the first day is timed."""
    fit_one(WARM_UP_SEED, Scenario(pairs=1, dampers=plan.loads), FITTERS[plan.fitter])


def _tell(done: int, of: int, seconds: float) -> None:
    if done != of and done % max(of // 50, 1) != 0:
        return
    left = seconds / done * (of - done)
    end = "\n" if done == of else "\r"
    print(
        f"{done} of {of} days, {seconds / done:.2f} s a day, {left / 60:.0f} min left ",
        end=end,
        file=sys.stderr,
    )
