"""Forms about one thing of a test day, in place or under their own address: a run's facts, a reading of the air."""

from __future__ import annotations

import datetime as dt
from collections.abc import AsyncIterator
from dataclasses import dataclass, replace
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from server.days.change import Change
from server.days.day_addresses_pages import SEE_OTHER, DayId, day_crumb, season_crumb
from server.days.facts import briefs_of, newest_revisions
from server.days.form_fields import Field, FieldError, Form, Typed, one, refilled
from server.days.forms import change_of, form_of
from server.days.plan_wanted_pages import plan_choices, planned
from server.days.revisions import newest_day, revise_day
from server.days.setup_words import part_text
from server.days.trackside_forms import with_person
from server.days.turn_forms import with_remembered
from server.days.weather_forms import form as weather_form
from server.dependencies import CurrentPerson, Jobs, TheArchive, known_person
from server.errors import NotFoundError, StillairError
from server.templating import Page, is_htmx, render, render_part
from server.testday.quantities import clock_from_s
from server.testday.values import Day

router = APIRouter(default_response_class=HTMLResponse)
MOST_FIELDS = 4000
LONGEST_REASON = 400
PLACES = {
    "air": "weather", "zero": "next", "checklist": "checks", "turn": "runs", "wanted": "standing", "remarks": "run",
}  # fmt: skip
AS_LAST = "It is filled in as last read: type over what has moved."


@dataclass(frozen=True, kw_only=True)
class DayFormPage(Page):
    """One form about a thing of the day, under its own address; action: where it goes, leave: the way back."""

    template: ClassVar[str] = "days/edit.html"
    help: ClassVar[str] = "testday"
    form: Form
    revision: int
    problem: str
    reason: str
    action: str
    leave: str


@dataclass(frozen=True, slots=True)
class FilledForm:
    """A form as it was sent."""

    typed: Typed
    revision: int
    reason: str


async def _filled(request: Request) -> AsyncIterator[FilledForm]:
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        typed = {name: tuple(str(value) for value in form.getlist(name)) for name in form}
        number = one(typed, "revision")
        revision = int(number) if number.isascii() and number.isdigit() else 0
        yield FilledForm(typed, revision, one(typed, "reason")[:LONGEST_REASON])


@router.get("/days/{day_id}/change/{slug}", name="day_form")
def one_form(request: Request, day_id: DayId, slug: str, archive: TheArchive) -> HTMLResponse:
    """A form about a run, the air or what else is the day's: a page of its own, or a piece of the day's page."""
    page = _form_page(request, day_id, slug, archive)
    if is_htmx(request):
        names = ("form", "revision", "problem", "reason", "action", "leave")
        return render_part(request, "days/edit_form.html", **{name: getattr(page, name) for name in names})
    return render(request, page)


@router.post("/days/{day_id}/change/{slug}", name="day_change")
def keep(
    request: Request, day_id: DayId, slug: str, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    filled: Annotated[FilledForm, Depends(_filled)],
) -> Response:  # fmt: skip
    """Keep what a form says; or the form again with one sentence."""
    plan = planned(archive, filled.typed) if slug == "wanted" else None

    def change(values: Day) -> Change:
        if plan is not None:
            return plan.change(values)
        return change_of(values, slug, _like_last(values, slug, filled.typed))

    try:
        revise_day(
            archive, day_id, change,
            who=person, reason=filled.reason, expected=filled.revision or None,
        )  # fmt: skip
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _form_page(request, day_id, slug, archive, (filled, refusal)), 422)
    jobs.wake()
    return RedirectResponse(_place(request, day_id, slug), SEE_OTHER)


def _form_page(
    request: Request, day_id: int, slug: str, archive: TheArchive, sent: tuple[FilledForm, StillairError] | None = None
) -> DayFormPage:
    with archive.database.reading() as session:
        revision, values = newest_day(archive, session, day_id)
        number = revision.number
        form = _form_of(archive, session, values, slug, known_person(request))
    problem, reason = "", ""
    if sent is not None:
        filled, refusal = sent
        form = refilled(form, filled.typed, refusal if isinstance(refusal, FieldError) else None)
        problem = "" if any(field.problem for field in form.fields) else str(refusal)
        reason = filled.reason
    there = request.app.url_path_for
    return DayFormPage(
        title=form.title,
        crumbs=(season_crumb(request), day_crumb(request, day_id, values.name)),
        form=form,
        revision=number,
        problem=problem,
        reason=reason,
        action=str(there("day_change", day_id=str(day_id), slug=slug)),
        leave=_place(request, day_id, slug),
    )


def _place(request: Request, day_id: int, slug: str) -> str:
    """Where on the day's page a thing stands."""
    head, _, rest = slug.partition(".")
    there = str(request.app.url_path_for("day", day_id=str(day_id)))
    return f"{there}#{PLACES.get(head, head)}{'-' if rest else ''}{rest}"


def _form_of(archive: TheArchive, session: Session, values: Day, slug: str, person: str) -> Form:
    """A form with what other days, plans, the clock and the person at the screen know of it."""
    if slug == "weather":
        return _now_form(values)
    form = with_person(form_of(values, slug), person)
    if slug == "turn":
        briefs = briefs_of(archive, session, newest_revisions(session).values()).values()
        setups = [setup for brief in briefs for setup in brief.setups]
        names = {name for setup in setups for name in setup.parts}
        return with_remembered(form, names, {part_text(part) for one in setups for part in one.parts.values()})
    if slug == "wanted" and (known := plan_choices(archive, session)):
        return replace(form, fields=(*form.fields, known))
    return form


def _now_form(values: Day) -> Form:
    """A new reading of the air: now, as last read, so that only what has moved is typed over."""
    form, last = weather_form(values, "weather"), _last_reading(values)
    moment = dt.datetime.now().astimezone()
    clock = clock_from_s(60.0 * (60 * moment.hour + moment.minute)).removesuffix(":00")
    starts = [run.start_clock_s for run in values.runs if run.start_clock_s is not None]
    given = {
        "time": clock if values.date == moment.date() else "",
        "first": clock_from_s(min(starts)) if starts else "",
    }
    fields = (
        replace(field, value=given[field.name])
        if field.name in given
        else replace(field, kind="number", value=last[field.name].value)
        for field in form.fields
    )
    return replace(form, fields=tuple(fields), help=AS_LAST)


def _last_reading(values: Day) -> dict[str, Field]:
    return {field.name: field for field in weather_form(values, f"weather.{len(values.weather)}").fields}


def _like_last(values: Day, slug: str, typed: Typed) -> Typed:
    """A new reading of the air with the uncertainties and sources of the last one, which the short form leaves out."""
    if slug != "weather":
        return typed
    last = [field for field in _last_reading(values).values() if field.kind == "quantity"]
    known = {f"{field.name}_u": (field.u,) for field in last} | {f"{f.name}_source": (f.source,) for f in last}
    kept = {name: value for name, value in known.items() if one(typed, name.partition("_")[0])}
    return {**kept, **typed}
