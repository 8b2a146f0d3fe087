"""`stillair study`: do the intervals hold? Simulated days like a given one, held against their truth."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from server.analysis.simulate_plan import SimulationPlan
    from server.analysis.study import Study, StudyRow
    from server.commands.progress import Progress

SHOWN = (
    "SCx",
    "SCx_apparent",
    "SCz_front",
    "SCz_rear",
    "SCz",
    "balance_front",
    "LD",
    "ride_height_front",
    "ride_height_rear",
    "c0",
    "c1",
    "grade",
    "head_wind_out",
)

Folder = Annotated[
    Path | None,
    typer.Argument(metavar="FOLDER", help="A test-day folder, or a zip of one. Without it: a made-up day."),
]
Days = Annotated[int, typer.Option("--days", min=1, help="How many days to simulate and fit.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Seed; the same seed gives the same table.")]
Json = Annotated[
    Path | None,
    typer.Option("--json", metavar="FILE", help="Also write the table as JSON; - for standard output."),
]
Workers = Annotated[int | None, typer.Option("--workers", min=1, help="Processes; one a core without it.")]


def study(
    folder: Folder = None, days: Days = 200, seed: Seed = 1, json_file: Json = None, workers: Workers = None
) -> None:
    """Try the intervals on simulated days like one of yours, whose truth is known.

    \b
    stillair study                                          200 made-up days
    stillair study "2026-05-09 long apron" --days 1000      days like this one
    stillair study --days 1000 --seed 7 --json study.json   the table for a program

    With a folder, the day is fitted first; then its car, setups, order and speed of passes, instruments and
    wind are simulated again and again, with everything that is known only to some uncertainty drawn anew.
    For each quantity and each difference between setups: how many of the 95 % intervals held the truth,
    with binomial bounds, the RMS error, the RMS of error over stated uncertainty (1 when it is honest) and
    the mean half width U95.

    Where STILLAIR_SCHEDULER names a scheduler, its workers do the work, with the same numbers.
    Results go to standard output, progress to standard error. 1,000 days take some tens of minutes.
    """
    from server.analysis.study import run_study, study_to_json
    from server.commands.progress import Progress
    from server.heavy.pool import pool_or
    from server.heavy.processes import Processes

    with Progress() as progress:
        plan = _plan(folder, progress)
        result = run_study(plan, days, seed, progress=progress, pool=pool_or(Processes(workers)))
    if json_file is not None and str(json_file) == "-":
        typer.echo(_as_text(study_to_json(result)))
        return
    if json_file is not None:
        json_file.write_text(_as_text(study_to_json(result)) + "\n", encoding="utf-8")
    typer.echo(study_report(result))


def study_report(result: Study) -> str:
    """The study as text: a sentence, a table, and what went without an area."""
    lines = [study_sentence(result), "", *_table(result.rows)]
    if result.without_area:
        why = ", ".join(f"{code} ({count})" for code, count in result.stopped_by)
        lines += ["", f"No drag area on {result.without_area:,} of {result.days:,} days: {why}."]
    return "\n".join(lines)


def study_sentence(result: Study) -> str:
    """The answer in one sentence, of the first setup's drag area and, where there is one, of a difference."""
    areas = [row for row in result.rows if row.quantity == "SCx"]
    if not areas:
        return f"{result.days:,} simulated days gave no drag area."
    alone = next(row for row in areas if row.baseline is None)
    parts = [f"SCx of {alone.setup} {_share(alone)}"]
    parts += [f"the difference {row.setup} − {row.baseline} {_share(row)}" for row in areas if row.baseline][
        :1
    ]
    low, high = (f"{100.0 * share:.1f}" for share in (alone.expected_low, alone.expected_high))
    return (
        f"95 % intervals on {alone.days:,} simulated days of {result.passes} coast-downs held the truth of "
        f"{' and of '.join(parts)}; honest ones land between {low} and {high} %."
    )


def _plan(folder: Path | None, progress: Progress) -> SimulationPlan:
    from server.analysis.simulate_like import plan_or_refuse
    from server.analysis.simulate_plan import default_plan

    if folder is None:
        return default_plan(loads=True)
    from tempfile import TemporaryDirectory

    from server.analysis.day_fit import fit_day
    from server.commands.day_source import day_folder
    from server.readers.load_day import load_day

    with TemporaryDirectory(prefix="stillair-") as scratch:
        day = load_day(day_folder(folder, Path(scratch)))
    result = fit_day(day, progress=progress)
    return plan_or_refuse(day, result)


def _table(rows: tuple[StudyRow, ...]) -> list[str]:
    head = ("", "days", "held", "95 % bounds", "RMS error", "RMS error/u", "mean U95", "unit")
    cells = [head, *(_cells(row) for row in rows if row.quantity in SHOWN)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    return ["  ".join(_aligned(text, widths[i], i) for i, text in enumerate(row)).rstrip() for row in cells]


def _cells(row: StudyRow) -> tuple[str, ...]:
    return (
        row.name,
        f"{row.days:,}",
        f"{100.0 * row.coverage:.1f} %",
        f"{100.0 * row.coverage_low:.1f}–{100.0 * row.coverage_high:.1f} %",
        f"{row.rms_error:.2g}",
        f"{row.rms_z:.2f}",
        f"{row.mean_u95:.2g}",
        row.unit if row.source == "measured" else f"{row.unit} ({row.source})",
    )


def _aligned(text: str, width: int, column: int) -> str:
    return text.ljust(width) if column in (0, 7) else text.rjust(width)


def _share(row: StudyRow) -> str:
    size = f"RMS error {row.rms_error:.2g} {row.unit}, mean U95 {row.mean_u95:.2g}"
    return f"in {100.0 * row.coverage:.1f} % ({size})"


def _as_text(found: dict[str, Any]) -> str:
    return json.dumps(found, ensure_ascii=False, allow_nan=False, indent=1)
