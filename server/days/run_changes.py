"""Changes of runs and of what a person says of their passes: the day before in, the day after out.

Every function raises StillairError with one sentence where the change makes no sense.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from server.days.change import Change, find_run, find_setup, plain, with_run
from server.days.setup_changes import add_setup
from server.errors import StillairError
from server.testday.values import Day, PassEdit, Run, Setup

FACT_WORDS = {"tyre_cold_pa": "cold tyre pressures", "tyre_hot_pa": "hot tyre pressures", "driver": "driver's name"}
NEAR_S = 0.5  # an edit that starts or ends this near to another one speaks of the same pass


def move_run(day: Day, number: int, setup: str) -> Change:
    """The run was driven in another setup than was written down."""
    run, target = find_run(day, number), find_setup(day, setup)
    what = f"run {number} moved from setup {run.setup} to {target.name}"
    return Change(with_run(day, replace(run, setup=target.name)), "run-moved", f"run {number}", run.setup, setup, what)


def add_runs(day: Day, runs: tuple[Run, ...], files: Mapping[str, Path], setups: tuple[Setup, ...] = ()) -> Change:
    """New runs with their logs, and setups that are new with them."""
    taken = {run.number for run in day.runs}
    if clash := sorted({run.number for run in runs} & taken):
        raise StillairError(f"Run {clash[0]} is there already.")
    for place, setup in enumerate(setups):
        before = replace(day, setups=(*day.setups, *setups[:place]))
        add_setup(before, setup)
    known = {setup.name for setup in (*day.setups, *setups)}
    for run in runs:
        if run.setup not in known:
            raise StillairError(f"Run {run.number} is in setup “{run.setup[:60]}”, which this day does not have.")
    numbers = ", ".join(str(run.number) for run in runs)
    after = [{"run": r.number, "setup": r.setup, "logs": [log.file for log in r.logs]} for r in runs]
    changed = replace(
        day, runs=tuple(sorted((*day.runs, *runs), key=lambda r: r.number)), setups=(*day.setups, *setups)
    )
    what = f"run{'s' if len(runs) > 1 else ''} {numbers} added"
    return Change(changed, "runs-added", f"runs {numbers}", None, after, what, dict(files))


def change_run(day: Day, number: int, **facts: Any) -> Change:
    """Other facts of a run: driver_mass_kg, coasting, direction, start_clock_s, notes, channels."""
    allowed = {"driver_mass_kg", "coasting", "direction", "start_clock_s", "notes", "channels", "logs"}
    allowed |= {"driver", "remarks", "tyre_cold_pa", "tyre_hot_pa"}
    if unknown := set(facts) - allowed:
        raise StillairError(f"A run's {sorted(unknown)[0]} can't be changed here.")
    run = find_run(day, number)
    before = {name: plain(getattr(run, name)) for name in facts}
    after = {name: plain(value) for name, value in facts.items()}
    words = ", ".join(FACT_WORDS.get(name) or name.split("_")[0] for name in facts)
    return Change(
        with_run(day, replace(run, **facts)),
        "run-changed",
        f"run {number}",
        before,
        after,
        f"run {number}: {words} changed",
    )


def edit_pass(day: Day, number: int, edit: PassEdit, replaces: tuple[float, float] | None = None) -> Change:
    """A person's word on a stretch of a run; `replaces`: [start, end] of the stretch that it was before."""
    if not edit.end_s > edit.start_s:
        raise StillairError(f"A pass must end after it starts, not at {edit.end_s:g} s after {edit.start_s:g} s.")
    if not edit.used and not edit.reason.strip():
        raise StillairError("Say why the pass is left out: whoever reads this in three years needs the reason.")
    run = find_run(day, number)
    old = [one for one in run.passes if _same(one, edit, replaces)]
    kept = tuple(one for one in run.passes if not _same(one, edit, replaces))
    edits = tuple(sorted((*kept, edit), key=lambda one: one.start_s))
    span = f"{edit.start_s:.1f} to {edit.end_s:.1f} s"
    what = f"run {number}: pass {span} " + ("kept by hand" if edit.used else f"left out ({edit.reason.strip()})")
    before = [plain(one) for one in old] or ({"span_s": list(replaces)} if replaces else None)
    return Change(
        with_run(day, replace(run, passes=edits)),
        "pass-edited",
        f"run {number}, pass {span}",
        before,
        plain(edit),
        what,
    )


def clear_pass_edits(day: Day, number: int, start_s: float, end_s: float) -> Change:
    """Take a person's words on a stretch back; the program finds the pass by itself again."""
    run = find_run(day, number)
    gone = [one for one in run.passes if one.start_s < end_s and one.end_s > start_s]
    if not gone:
        raise StillairError(f"Nobody changed a pass between {start_s:.1f} and {end_s:.1f} s of run {number}.")
    kept = tuple(one for one in run.passes if one not in gone)
    span = f"{start_s:.1f} to {end_s:.1f} s"
    return Change(
        with_run(day, replace(run, passes=kept)),
        "pass-edited",
        f"run {number}, pass {span}",
        [plain(one) for one in gone],
        None,
        f"run {number}: what was said by hand of {span} taken back",
    )


def _same(one: PassEdit, edit: PassEdit, replaces: tuple[float, float] | None) -> bool:
    """Whether an older edit speaks of the same pass: it overlaps the new stretch, or the one that it was."""
    spans = [(edit.start_s, edit.end_s), *([replaces] if replaces else [])]
    return any(one.start_s < end - NEAR_S and one.end_s > start + NEAR_S for start, end in spans)
