"""The studies that fit days: of the hostile simulator, with and without loads, with faults, with bends."""

from __future__ import annotations

import argparse
from typing import Any

from tests.simulator.scenario import FAULTS
from tests.studies.bends import bends_summary, bends_text
from tests.studies.differences import differences_summary
from tests.studies.ills import ills_summary
from tests.studies.load_report import load_summary
from tests.studies.load_table import help_table, load_table
from tests.studies.outlets import print_table, store, write
from tests.studies.paired import paired_summary
from tests.studies.report import summary, table
from tests.studies.runner import Plan, run

BENT: dict[str, Any] = {
    "pairs": 4, "wind": "calm", "bend_over_range": 0.10, "load_sources": ("damper",),
}  # fmt: skip


def coverage(asked: argparse.Namespace) -> int:
    fitter = "typed" if asked.typed and asked.fitter == "product" else asked.fitter
    plan = Plan(asked.days, asked.first_seed, fitter, not asked.plain, dict(asked.set), asked.loads, asked.typed)
    kind = " --loads" if asked.loads else " --typed" if asked.typed else ""
    command = f"python -m tests.studies coverage{kind}"
    days = run(plan, asked.processes, store(asked.out))
    found = summary(days, {"command": command, **_about(plan)})
    if asked.loads:
        found |= load_summary(days)
    write(asked.out, found)
    print(table(found))
    if asked.loads:
        print(load_table(found))
        write(asked.table, help_table(found, f"{command} --days {plan.days} --first-seed {plan.first_seed}"))
    misses = (found["misses"], found["delta_misses"], found.get("load_misses"))
    return 1 if any(misses) else 0


def dampers(asked: argparse.Namespace) -> int:
    changes, mixture = dict(asked.set), not asked.plain
    fitters = ("product", "unloaded") if asked.fitter == "product" else (asked.fitter, asked.fitter)
    plans = [Plan(asked.days, asked.first_seed, f, mixture, changes, loads=True) for f in fitters]
    days = [run(p, asked.processes, store(asked.out, n)) for p, n in zip(plans, ("with", "without"), strict=True)]
    about = {"command": f"python -m tests.studies dampers --days {asked.days}", **_about(plans[0])}
    found = paired_summary(*days, about)
    write(asked.out, found)
    print_table(found)
    return 1 if found["failed"] else 0


def differences(asked: argparse.Namespace) -> int:
    fitters = ("product", "apart") if asked.fitter == "product" else (asked.fitter, asked.fitter)
    counts, changes = (asked.days, min(asked.apart, asked.days)), dict(asked.set)
    plans = [Plan(n, asked.first_seed, f, True, changes, compared=True) for n, f in zip(counts, fitters, strict=True)]
    days = [run(p, asked.processes, store(asked.out, n)) for p, n in zip(plans, ("joint", "apart"), strict=True)]
    command = f"python -m tests.studies differences --days {asked.days} --apart {asked.apart}"
    about = _about(plans[0])
    found = differences_summary(*days, about | {"command": f"{command} --first-seed {asked.first_seed}"})
    write(asked.out, found)
    print_table(found)
    print(found["note"])
    return 1 if found["misses"] else 0


def bend(asked: argparse.Namespace) -> int:
    bent = Plan(asked.days, asked.first_seed, asked.fitter, False, BENT | dict(asked.set), loads=True)
    level = {"bend_over_range": 0.0, **dict(asked.set_straight)}
    straight = Plan(asked.days, asked.first_seed, asked.fitter, True, level, loads=True)
    days = [run(p, asked.processes, store(asked.out, n)) for p, n in ((bent, "bent"), (straight, "straight"))]
    words = [", ".join(f"{k} {v}" for k, v in p.changes.items()) for p in (bent, straight)]
    about = {"command": f"python -m tests.studies bend --days {asked.days}", **_about(bent)}
    found = bends_summary(*days, about | {"bent": words[0], "straight": f"the mixture with {words[1]}"})
    write(asked.out, found)
    print(bends_text(found))
    return 1 if found["misses"] or found["failed"] else 0


def faults(asked: argparse.Namespace) -> int:
    changes = {"pairs": 2, **dict(asked.set)}
    plans = {
        name: Plan(asked.days, asked.first_seed, asked.fitter, False, changes | faults, loads=True)
        for name, faults in {"": {}, **{f: {"faults": (f,)} for f in asked.fault or FAULTS}}.items()
    }
    names = {name: name.replace(" ", "-") or "healthy" for name in plans}
    days = {name: run(plan, asked.processes, store(asked.out, names[name])) for name, plan in plans.items()}
    healthy = days.pop("")
    about = {"command": f"python -m tests.studies faults --days {asked.days}", **_about(plans[""])}
    found = ills_summary(days, healthy, about)
    write(asked.out, found)
    print_table(found)
    print(found["note"])
    return 1 if found["misses"] or found["failed"] else 0


def _about(plan: Plan) -> dict[str, Any]:
    return {"first_seed": plan.first_seed, **plan.kind}
