"""A study of days like one of ours, as pages show it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.archive.tables import Job
from server.figures.table import Table
from server.results.quantities import ESTIMATES
from server.results.study_job import USUAL_DAYS, KeptStudy

COLUMNS = (
    "of", "days", "held the truth", "95 % bounds of that", "RMS(error/u)", "RMS error", "mean U95", "unit", "source",
)  # fmt: skip
NONE_HELD = "None of {days:,} made-up days like this one gave a drag area, so nothing can be said of its interval."


@dataclass(frozen=True, slots=True)
class StudyView:
    """sentence: what it found; verdict: what that means; older: it tried the intervals of an earlier result."""

    number: int
    day_id: int
    sentence: str
    verdict: str
    table: Table
    without_area: str
    days: int
    seed: int
    version: str
    who: str
    at: str
    sha256: str
    older: bool


@dataclass(frozen=True, slots=True)
class StudyPart:
    """What a result's page knows of studies: the newest one, and the one that is on its way."""

    newest: StudyView | None
    job_id: str
    text: str
    percent: int
    usual: int = USUAL_DAYS


def study_part(kept: KeptStudy | None, waiting: Job | None, result_id: int) -> StudyPart:
    """The part of a result's page."""
    newest = study_view(kept, result_id) if kept else None
    if waiting is None:
        return StudyPart(newest, "", "", 0)
    return StudyPart(newest, waiting.id, waiting.text, round(100 * waiting.fraction))


def study_view(kept: KeptStudy, result_id: int | None) -> StudyView:
    """A study; result_id: the day's newest result."""
    content = kept.content
    sentence, verdict = _words(content)
    return StudyView(
        number=kept.number,
        day_id=kept.day_id,
        sentence=sentence,
        verdict=verdict,
        table=Table(COLUMNS, tuple(_row(row) for row in content["rows"])),
        without_area=_without_area(content),
        days=content["days"],
        seed=content["seed"],
        version=content.get("version", ""),
        who=kept.who,
        at=f"{kept.at[:16].replace('T', ' ')} UTC",
        sha256=kept.sha256,
        older=kept.result_id != result_id,
    )


def _words(content: Mapping[str, Any]) -> tuple[str, str]:
    """Of the first setup's drag area: how many intervals held, what honest ones do, how far off the errors are."""
    row = next((one for one in content["rows"] if one["quantity"] == "SCx" and one["baseline"] is None), None)
    if row is None:
        return NONE_HELD.format(days=content["days"]), ""
    days, held = row["days"], row["held"]
    low, high = round(row["expected_low"] * days), round(row["expected_high"] * days)
    sentence = (
        f"On {content['days']:,} made-up days like this one, {held:,} of {days:,} intervals of SCx of setup "
        f"{row['setup']} held the truth (99 % bounds of honest ones: {low:,} to {high:,}); "
        f"RMS(error/u) {row['rms_z']:.2f}, where 1 is honest."
    )
    if held < low:
        return sentence, "They hold too seldom: on days like this one, take the intervals for too narrow."
    if held > high:
        return sentence, "They hold too often: on days like this one, the intervals are wider than they need be."
    return sentence, "As many as honest intervals hold."


def _row(row: Mapping[str, Any]) -> tuple[str | int | float, ...]:
    shown = ESTIMATES.get(row["quantity"])
    quantity = shown.label if shown else row["quantity"]
    of = row["setup"] if row["baseline"] is None else f"{row['setup']} − {row['baseline']}"
    bounds = f"{100 * row['coverage_low']:.1f} to {100 * row['coverage_high']:.1f} %"
    rest = (f"{row['rms_z']:.2f}", f"{row['rms_error']:.2g}", f"{row['mean_u95']:.2g}", row["unit"] or "1")
    return (f"{of}: {quantity}", row["days"], f"{100 * row['coverage']:.1f} %", bounds, *rest, row["source"])


def _without_area(content: Mapping[str, Any]) -> str:
    if not content["without_area"]:
        return ""
    why = ", ".join(f"{code} ({count})" for code, count in content["stopped_by"].items())
    return f"{content['without_area']:,} of {content['days']:,} days gave no drag area" + (f": {why}." if why else ".")
