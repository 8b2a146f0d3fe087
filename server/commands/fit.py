"""`stillair fit`: a test-day folder in, its areas out, as text or as JSON."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from server.analysis.result import DayResult
    from server.commands.progress import Progress
    from server.testday.values import Day

Folder = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="A folder with a testday.toml in it, or a zip of one.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of text.")]


def fit(folder: Folder, as_json: AsJson = False) -> None:
    """Fit a test day: read its folder, print the areas of each setup with their 95 % intervals.

    \b
    stillair fit "2026-05-09 long apron"                    for people
    stillair fit "2026-05-09 long apron" --json > day.json  for programs
    stillair fit day.zip                                    a zipped folder

    \b
    The JSON object has: format, name, reference, setups (name, estimates, passes, interval_method,
    budget), comparisons, correlation, findings. What cannot be had is absent, and a finding says why.
    With a predictions.csv in the folder, correlation holds each setup's totals: measured and predicted (value,
    u), E = predicted - measured, u_val, verdict (agrees, prediction-high, prediction-low, cannot-tell,
    extrapolated); correlation_changes the same against the baseline; correlation_silent what gets no verdict.
    Every estimate has value, u (standard uncertainty), u95, low95, high95, unit, and source: measured,
    typed, predicted or default. Every finding has a code (listed below), a grade and a text.

    Results go to standard output, progress to standard error. Exit code 0: there are results.
    2: the folder cannot be used; one sentence on standard error says why.
    """
    from server.commands.progress import Progress

    with Progress() as progress:
        day, result = fitted(folder, progress)
    from server.analysis.correlation import correlate_day

    correlation = correlate_day(result, day)
    if as_json:
        from server.analysis.result_json import result_to_json

        told = result_to_json(result, correlation)
        typer.echo(json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1))
    else:
        from server.commands.report import report

        typer.echo(report(result, correlation))


def fitted(path: Path, progress: Progress) -> tuple[Day, DayResult]:
    """Load the folder or zip and fit it; raises StillairError."""
    from server.commands.day_source import day_folder
    from server.readers.load_day import load_day

    with TemporaryDirectory(prefix="stillair-") as scratch:
        progress(0.0, "reading the folder")
        day = load_day(day_folder(path, Path(scratch)))
    from server.analysis.day_fit import fit_day

    return day, fit_day(day, progress=progress)


def finding_codes() -> str:
    """Every finding code with its meaning, as the last part of the command's help."""
    from server.testday.findings import CODES

    width = max(map(len, CODES))
    return "\b\nCodes of the findings:\n" + "\n".join(
        f"  {code.ljust(width)}  {meaning}" for code, meaning in CODES.items()
    )
