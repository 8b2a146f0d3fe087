"""The page of a run: its passes, why some are turned down, and the forms that say otherwise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.analysis.result import DayResult
from server.days import changes
from server.days.changes import Change
from server.days.revisions import newest_day, revise_day
from server.dependencies import CurrentPerson, Jobs, Results, TheArchive
from server.results.finding_groups import FindingGroup, finding_groups
from server.results.next_step import WANTED_U95_M2
from server.results.service import latest_result
from server.results.view import PassRow, result_view
from server.templating import Crumb, Page, render
from server.testday.values import Day, PassEdit, Run

router = APIRouter(default_response_class=HTMLResponse)
SEE_OTHER = 303
Seconds = Annotated[float, Form(allow_inf_nan=False)]


@dataclass(frozen=True, kw_only=True)
class RunPage(Page):
    """One run. revision: what its forms were made of; stale: the passes are those of an older revision's fit."""

    template: ClassVar[str] = "runs/run.html"
    help: ClassVar[str] = "result"
    day_id: int
    run: Run
    revision: int
    setups: tuple[str, ...]
    passes: tuple[tuple[float, float, PassRow], ...]
    sentence: str
    findings: tuple[FindingGroup, ...]
    before: int | None
    after: int | None
    stale: bool


@router.get("/days/{day_id}/runs/{number}", name="run")
def run_page(request: Request, day_id: int, number: int, archive: TheArchive, results: Results) -> HTMLResponse:
    """The run as it stands."""
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        row = latest_result(session, day_id)
        result = results.read(row.sha256) if row else None
        page = _page(request, day_id, changes.find_run(day, number), day, result)
        stale = row is None or row.revision_id != revision.id
        return render(request, RunPage(**page, revision=revision.number, stale=stale))


def _page(request: Request, day_id: int, run: Run, day: Day, result: DayResult | None) -> dict[str, object]:
    numbers = sorted(one.number for one in day.runs)
    place, passes = numbers.index(run.number), run_passes(result, run.number) if result else ()
    noticed = [one for one in result.findings if one.run == run.number] if result else []
    there = request.app.url_path_for
    return {
        "title": f"Run {run.number}",
        "crumbs": (Crumb("Days", str(there("days"))), Crumb(day.name, str(there("result", day_id=str(day_id))))),
        "day_id": day_id,
        "run": run,
        "setups": tuple(setup.name for setup in day.setups),
        "passes": passes,
        "sentence": sentence([row for _, _, row in passes]),
        "findings": finding_groups(noticed),
        "before": numbers[place - 1] if place else None,
        "after": numbers[place + 1] if place + 1 < len(numbers) else None,
    }


def run_passes(result: DayResult, number: int) -> tuple[tuple[float, float, PassRow], ...]:
    """Start [s], end [s] and the row of each stretch of a run."""
    rows = [row for row in result_view(result, WANTED_U95_M2).passes if row.run == number]
    found = [one for setup in result.setups for one in sorted(setup.passes, key=lambda p: (p.run, p.start_s))]
    ends = [(one.start_s, one.end_s) for one in found if one.run == number]
    return tuple((start, end, row) for (start, end), row in zip(ends, rows, strict=True))


def sentence(passes: list[PassRow]) -> str:
    """Is this recording good, in one sentence, with what to do."""
    coasts = [row for row in passes if row.kind == "coast-down"]
    used = sum(row.used for row in coasts)
    if not coasts:
        return "No coast-down was found in this run: look at its findings, then at how the car was driven."
    if used == len(coasts):
        return f"Every coast-down of this run is used: {used} of {used}."
    why = next(row.reason for row in coasts if not row.used)
    return f"{used} of {len(coasts)} coast-downs of this run are used; turned down first: {why}."


@router.post("/days/{day_id}/runs/{number}/passes", name="run_pass")
def edit_pass(
    request: Request, day_id: int, number: int, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    say: Annotated[str, Form()], start_s: Seconds, end_s: Seconds,
    was_start_s: Seconds, was_end_s: Seconds, revision: Annotated[int, Form()],
    reason: Annotated[str, Form(max_length=400)] = "",
) -> Response:  # fmt: skip
    """Leave a pass out, use it with these edges, or take back what was said of it."""

    def change(day: Day) -> Change:
        if say == "clear":
            return changes.clear_pass_edits(day, number, was_start_s, was_end_s)
        edit = PassEdit(start_s, end_s, say == "use", reason.strip())
        return changes.edit_pass(day, number, edit, (was_start_s, was_end_s))

    revise_day(archive, day_id, change, who=person, reason=reason, expected=revision)
    jobs.wake()
    return _back(request, day_id, number)


@router.post("/days/{day_id}/runs/{number}/setup", name="run_setup")
def move_run(
    request: Request, day_id: int, number: int, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    setup: Annotated[str, Form()], revision: Annotated[int, Form()],
    reason: Annotated[str, Form(max_length=400)] = "",
) -> Response:  # fmt: skip
    """The run was driven in another setup."""

    def change(day: Day) -> Change:
        return changes.move_run(day, number, setup)

    revise_day(archive, day_id, change, who=person, reason=reason, expected=revision)
    jobs.wake()
    return _back(request, day_id, number)


def _back(request: Request, day_id: int, number: int) -> Response:
    there = request.app.url_path_for("run", day_id=str(day_id), number=str(number))
    return RedirectResponse(str(there), SEE_OTHER)
