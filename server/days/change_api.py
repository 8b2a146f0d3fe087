"""Changes of a day by programs: each a revision with its event and its fit, refused as on the pages."""

from __future__ import annotations

from fastapi import APIRouter

from server.days.api import REFUSALS, Number
from server.days.changes import Change, change_channels, find_run
from server.days.corrections import correct
from server.days.form_fields import Field, Form, Typed
from server.days.form_values import field_values, slugs_of, typed_of
from server.days.forms import form_of
from server.days.revisions import newest_day, revise_day
from server.days.schemas import Changed, ChannelsChange, FieldView, FormView, ThingChange, ThingView
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.errors import StillairError
from server.testday.role_table import ROLE_NAMES
from server.testday.values import Day

router = APIRouter(prefix="/api", tags=["changes"], responses=REFUSALS)


@router.get("/days/{day_id}/car", name="api_things", summary="Everything of a day that can be changed")
def things(day_id: Number, archive: TheArchive) -> list[ThingView]:
    """Car, setups, weather, calibrations, runs, the day itself: each by its slug, and how it stands."""
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
    forms = [form_of(day, slug) for slug in slugs_of(day)]
    return [ThingView(slug=form.slug, title=form.title, now=form.now) for form in forms]


@router.get("/days/{day_id}/car/{slug}", name="api_thing", summary="One thing of a day and its fields")
def thing(day_id: Number, slug: str, archive: TheArchive) -> FormView:
    """How it stands, in which units, and what a change may send."""
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        return _view(form_of(day, slug), revision.number)


@router.patch("/days/{day_id}/car/{slug}", name="api_change", summary="Change one thing of a day")
def change(
    day_id: Number, slug: str, sent: ThingChange, *, archive: TheArchive, runner: Jobs, person: CurrentPerson
) -> Changed:
    """Also adds: a setup, a weather reading, a calibration are named without their place."""
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        typed, expected = _typed(day, slug, sent), sent.expected or revision.number
    made = correct(
        archive, day_id, slug, typed,
        also=tuple(sent.also), who=person, reason=sent.reason, expected=expected,
    )  # fmt: skip
    runner.wake()
    return Changed(
        revision=made.here.number,
        job_id=made.here.job_id,
        what=made.here.what,
        also=list(made.others),
        refused=list(made.refused),
    )


@router.patch("/days/{day_id}/channels", name="api_channels", summary="Say which column plays which role")
def channels(
    day_id: Number, sent: ChannelsChange, archive: TheArchive, runner: Jobs, person: CurrentPerson
) -> Changed:
    """For all logs of the day, or for one run; roles that are not named stay as they are."""
    for role in sent.channels:
        if role not in ROLE_NAMES:
            raise StillairError(f"“channels.{role[:40]}” is not a role that a channel can play.")

    def changed(day: Day) -> Change:
        there = day.channels if sent.run is None else find_run(day, sent.run).channels
        after = {role: column for role, column in {**there, **sent.channels}.items() if column is not None}
        return change_channels(day, after, sent.run)

    made = revise_day(archive, day_id, changed, who=person, reason=sent.reason, expected=sent.expected)
    runner.wake()
    return Changed(revision=made.number, job_id=made.job_id, what=made.what)


def _typed(day: Day, slug: str, sent: ThingChange) -> Typed:
    return typed_of(form_of(day, slug), sent.fields, clear=sent.clear)


def _view(form: Form, revision: int) -> FormView:
    fields = [_field(field) for field in form.fields]
    return FormView(
        slug=form.slug, title=form.title, now=form.now, revision=revision, clears=form.clears, fields=fields
    )


def _field(field: Field) -> FieldView:
    return FieldView(
        label=field.label,
        kind=field.kind,
        unit=field.unit,
        hint=field.hint,
        options=dict(field.options),
        values=field_values(field),
    )
