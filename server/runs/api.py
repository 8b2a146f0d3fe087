"""A program's word on a pass, and that taken back again."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path

from server.days import changes
from server.days.api import REFUSALS, Number
from server.days.changes import Change
from server.days.revisions import revise_day
from server.days.schemas import Changed
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.errors import StillairError
from server.runs.schemas import PassChange, PassCleared
from server.testday.values import Day, PassEdit

router = APIRouter(prefix="/api", tags=["runs"], responses=REFUSALS)
RunNumber = Annotated[int, Path(ge=0, le=2**31)]
BOTH = "Give both “was_start_s” and “was_end_s”, or neither."


@router.post("/days/{day_id}/runs/{number}/passes", name="api_pass", summary="A word on a pass")
def edit_pass(
    day_id: Number, number: RunNumber, sent: PassChange, *, archive: TheArchive, runner: Jobs, person: CurrentPerson
) -> Changed:
    """Use a stretch with these edges, or leave it out."""
    if (sent.was_start_s is None) != (sent.was_end_s is None):
        raise StillairError(BOTH)
    edit = PassEdit(sent.start_s, sent.end_s, sent.used, sent.reason.strip())
    was = None if sent.was_start_s is None or sent.was_end_s is None else (sent.was_start_s, sent.was_end_s)

    def change(day: Day) -> Change:
        return changes.edit_pass(day, number, edit, was)

    made = revise_day(archive, day_id, change, who=person, reason=sent.reason, expected=sent.expected)
    runner.wake()
    return Changed(revision=made.number, job_id=made.job_id, what=made.what)


@router.post("/days/{day_id}/runs/{number}/passes/clear", name="api_pass_clear", summary="Take a word on a pass back")
def clear_pass(
    day_id: Number, number: RunNumber, sent: PassCleared, *, archive: TheArchive, runner: Jobs, person: CurrentPerson
) -> Changed:
    """The program finds the pass by itself again."""

    def change(day: Day) -> Change:
        return changes.clear_pass_edits(day, number, sent.start_s, sent.end_s)

    made = revise_day(archive, day_id, change, who=person, reason=sent.reason, expected=sent.expected)
    runner.wake()
    return Changed(revision=made.number, job_id=made.job_id, what=made.what)
