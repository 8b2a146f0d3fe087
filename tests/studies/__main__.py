"""Studies as commands.

    python -m tests.studies coverage --days 1000 --processes 2 --out coverage.json

draws days by the hostile simulator, fits them, and tells how often 95 % intervals hold the truth. Records lie
beside the JSON in a .jsonl; the same command resumes where it stopped. `--set wind=gusty --set pairs=4` fixes
fields of the scenario, `--plain` starts from the plain scenario instead of the mixture, and
`--plain --set fixed_truth=true` repeats one truth for RMS errors.
"""

from __future__ import annotations

import argparse
import json
import sys
import typing
from pathlib import Path
from typing import Any

from tests.simulator import Scenario
from tests.studies.fitters import FITTERS
from tests.studies.report import summary, table
from tests.studies.runner import Plan, run


def main(words: list[str] | None = None) -> int:
    """0 when the intervals hold, 1 when they do not."""
    asked = _parser().parse_args(words)
    plan = Plan(asked.days, asked.first_seed, asked.fitter, not asked.plain, dict(asked.set))
    store = asked.out.with_suffix(".jsonl") if asked.out else None
    days = run(plan, asked.processes, store)
    found = summary(days, {"command": "python -m tests.studies coverage", **_about(plan)})
    if asked.out:
        asked.out.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(table(found))
    return 1 if found["misses"] or found["delta_misses"] else 0


def _about(plan: Plan) -> dict[str, Any]:
    return {"first_seed": plan.first_seed, **plan.kind}


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.studies", description="Long studies on simulated days."
    )
    studies = parser.add_subparsers(required=True)
    coverage = studies.add_parser("coverage", help="how often 95 %% intervals hold the truth")
    coverage.add_argument("--days", type=int, default=1000, help="number of days (default 1000)")
    coverage.add_argument("--first-seed", type=int, default=1, help="seed of the first day (default 1)")
    coverage.add_argument("--processes", type=int, default=2, help="days fitted at a time (default 2)")
    coverage.add_argument("--out", type=Path, help="JSON to write; records go beside it as .jsonl")
    coverage.add_argument("--fitter", choices=list(FITTERS), default="product", help="what is judged")
    coverage.add_argument("--plain", action="store_true", help="the plain scenario instead of the mixture")
    coverage.add_argument(
        "--set", type=scenario_field, action="append", default=[], metavar="FIELD=VALUE",
        help="a field of the scenario for all days, e.g. wind=gusty, pairs=4, speeds_mps=28,8",
    )  # fmt: skip
    return parser


def scenario_field(text: str) -> tuple[str, Any]:
    """'pairs=4' → ('pairs', 4), by the types of Scenario."""
    name, _, value = text.partition("=")
    kinds = typing.get_type_hints(Scenario)
    if name not in kinds:
        raise argparse.ArgumentTypeError(f"a scenario has no field {name!r}; it has {', '.join(kinds)}")
    kind = kinds[name]
    try:
        if kind is bool:
            return name, {"true": True, "false": False}[value.lower()]
        if kind in (int, float):
            return name, kind(value)
        if name == "speeds_mps":
            high, low = value.split(",")
            return name, (float(high), float(low))
    except (KeyError, ValueError) as error:
        raise argparse.ArgumentTypeError(f"{value!r} is no value for {name}") from error
    allowed = [v for part in (typing.get_args(kind) or ()) for v in (typing.get_args(part) or (part,))]
    if value not in allowed:
        raise argparse.ArgumentTypeError(f"{name} is one of {', '.join(map(str, allowed))}")
    return name, value


if __name__ == "__main__":
    sys.exit(main())
