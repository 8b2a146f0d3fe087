"""Pages of plans: all of them with the form of a new one, one plan, and its run sheet for paper or a tablet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Path, Request
from fastapi.responses import HTMLResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from server.analysis.result import DayResult
from server.archive.archive import Archive
from server.days.day_addresses_pages import to_job
from server.days.day_shelf import stored_day
from server.days.service import find_day, list_days, revision_files
from server.dependencies import CurrentPerson, Jobs, Results, TheArchive
from server.errors import StillairError
from server.plans.asking import FIELDS, MOST_CHANGES, Asked, AskField, asked_of
from server.plans.plan_job import find_plan, plans, queue_plan
from server.plans.plan_view import PlanView, plan_view
from server.results.service import ResultShelf, latest_results
from server.templating import Crumb, Page, render
from server.testday.values import Day

router = APIRouter(prefix="/plans", default_response_class=HTMLResponse)
FIRST_ROWS = 3
Number = Annotated[int, Path(ge=1, le=2**31)]


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """A row of the form: the setup's name, the wanted U95 [m²], what is turned."""

    setup: str = ""
    u95: str = ""
    turned: str = ""


@dataclass(frozen=True, kw_only=True)
class PlansPage(Page):
    """All plans, and the form; `fields` and `rows` hold what was typed before a refusal."""

    template: ClassVar[str] = "plans/list.html"
    help: ClassVar[str] = "plan"
    live: ClassVar[bool] = True
    problem: str
    kept: tuple[tuple[int, str, str, str], ...]
    days: tuple[tuple[str, str], ...]
    fields: dict[str, str]
    rows: tuple[ChangeRow, ...]
    numbers: tuple[AskField, ...] = FIELDS


@dataclass(frozen=True, kw_only=True)
class PlanPage(Page):
    """One plan."""

    template: ClassVar[str] = "plans/plan.html"
    help: ClassVar[str] = "plan"
    live: ClassVar[bool] = True
    plan: PlanView


@dataclass(frozen=True, kw_only=True)
class SheetPage(Page):
    """The run sheet of a plan."""

    template: ClassVar[str] = "plans/sheet.html"
    help: ClassVar[str] = "plan"
    plan: PlanView


@dataclass(frozen=True, slots=True)
class TypedPlan:
    """The form as it came."""

    fields: dict[str, str]
    rows: tuple[ChangeRow, ...]

    def asked(self) -> Asked:
        """What it asks for. Raises StillairError naming the place."""
        columns = ([getattr(row, name) for row in self.rows] for name in ("setup", "u95", "turned"))
        return asked_of(self.fields, *columns)


async def _typed(request: Request) -> TypedPlan:
    async with request.form(max_files=0, max_fields=100) as form:
        return _of_form(form)


def _of_form(form: FormData) -> TypedPlan:
    def column(name: str) -> list[str]:
        return [str(value)[:400] for value in form.getlist(name)]

    setups, widths, turned = column("setup"), column("u95"), column("turned")
    count = max(len(setups), len(widths), len(turned))
    padded = [[*one, *[""] * (count - len(one))] for one in (setups, widths, turned)]
    rows = tuple(ChangeRow(*row) for row in zip(*padded, strict=True))
    fields = {name: str(value)[:400] for name, value in form.items() if name not in ("setup", "u95", "turned")}
    return TypedPlan(fields, rows)


@router.get("", name="plans")
def all_plans(request: Request, archive: TheArchive) -> HTMLResponse:
    """The plans, and the form of a new one."""
    return render(request, _page(request, archive, "", TypedPlan({}, ())))


@router.post("", name="make_plan")
async def make_plan(
    request: Request, archive: TheArchive, jobs: Jobs, *, results: Results, person: CurrentPerson,
    typed: Annotated[TypedPlan, Depends(_typed)],
) -> Response:  # fmt: skip
    """Simulate what is asked for; the plan is there when the work is done."""
    try:
        job_id = await run_in_threadpool(_queued, archive, results, typed, person)
    except StillairError as refusal:
        page = await run_in_threadpool(_page, request, archive, str(refusal), typed)
        return render(request, page, 422)
    return to_job(request, jobs, job_id)


def _queued(archive: Archive, results: ResultShelf, typed: TypedPlan, person: str) -> str:
    from server.analysis.day_request import request_plan

    asked = typed.asked()
    request_plan(asked.request, _like(archive, results, asked.like_day_id))  # a straight too short is said at once
    with archive.database.writing() as session:
        return queue_plan(archive, session, asked, person)


def _like(archive: Archive, results: ResultShelf, day_id: int | None) -> tuple[Day, DayResult] | None:
    """The day that a plan is to be like, without its recordings. Raises NotFoundError."""
    if day_id is None:
        return None
    with archive.database.reading() as session:
        find_day(session, day_id)
        row, result = results.of_day(session, day_id)
        return stored_day(archive, revision_files(session, row.revision_id)), result


def _page(request: Request, archive: Archive, problem: str, typed: TypedPlan) -> PlansPage:
    with archive.database.reading() as session:
        found, fitted = plans(archive, session), latest_results(session)
        kept = tuple((one.number, one.content["asked"]["name"], one.at[:10], one.who) for one in found)
        known = (day for day in list_days(session) if day.id in fitted)
        days = tuple((str(day.id), f"{day.name}, {day.date or 'no date'}") for day in known)
    rows = typed.rows or (ChangeRow(),) * FIRST_ROWS
    rows = (*rows, *(ChangeRow(),) * (MOST_CHANGES - len(rows)))[: max(len(typed.rows), FIRST_ROWS)]
    crumbs = (Crumb("Season", str(request.app.url_path_for("days"))),)
    return PlansPage(
        title="Plan a day", crumbs=crumbs, problem=problem, kept=kept, days=days, fields=typed.fields, rows=rows
    )


@router.get("/{number}", name="plan")
def plan(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """One plan."""
    with archive.database.reading() as session:
        view = plan_view(find_plan(archive, session, number))
    return render(request, PlanPage(title=view.name, crumbs=_crumbs(request), plan=view))


@router.get("/{number}/sheet", name="plan_sheet")
def sheet(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """Its run sheet: for paper, and for a tablet at the straight."""
    with archive.database.reading() as session:
        view = plan_view(find_plan(archive, session, number))
    here = Crumb(view.name, str(request.app.url_path_for("plan", number=str(number))))
    return render(request, SheetPage(title="Run sheet", crumbs=(*_crumbs(request), here), plan=view))


def _crumbs(request: Request) -> tuple[Crumb, ...]:
    there = request.app.url_path_for
    return (Crumb("Season", str(there("days"))), Crumb("Plans", str(there("plans"))))
