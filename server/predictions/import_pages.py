"""A table of predictions comes in: its file or its pasted cells, what its columns are, what each row becomes."""

from __future__ import annotations

import datetime as dt
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from fastapi import APIRouter, Depends, Form, Query, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.archive.archive import Archive
from server.days.form_fields import FieldError, Typed, one
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.theme import SetupMark
from server.predictions.asking import reading_of
from server.predictions.cars import car_names, check_matches, likely_setup, setups_of_car, wheelbase_of_car
from server.predictions.content import Content
from server.predictions.drafts import (
    Wanted,
    begin_draft,
    checked,
    content_of_table,
    find_draft,
    first_choices,
    keep_choices,
    keep_draft,
    read_ahead,
    table_of,
)
from server.predictions.mapping_view import MappingView, choices_of_form, mapping_view
from server.predictions.pages import SEE_OTHER, MatchLine, Number, car_crumb, matches_of_form
from server.predictions.service import SetHead, find_set, matches_of
from server.predictions.tables import PredictionDraft
from server.predictions.view import RowView, columns_of, counted, marks_of, row_views
from server.readers.prediction_reading import lacks
from server.readers.prediction_table import MOST_BYTES, MOST_COLUMNS, GivenTable
from server.templating import Crumb, Page, render

router = APIRouter(prefix="/predictions", default_response_class=HTMLResponse)
MOST_FIELDS = 2 * MOST_COLUMNS + 40
PASTED = "pasted cells.txt"
NOTHING = "Bring a table: choose its file, or paste its cells with their header."


@dataclass(frozen=True, kw_only=True)
class AddPredictionsPage(Page):
    """Where a table comes in; revises: the set that it takes the place of."""

    template: ClassVar[str] = "predictions/add.html"
    help: ClassVar[str] = "predictions"
    problem: str
    car: str
    cars: tuple[str, ...]
    pasted: str
    revises: int | None
    revised: str


@dataclass(frozen=True, kw_only=True)
class PredictionTablePage(Page):
    """What the columns of a table are."""

    template: ClassVar[str] = "predictions/columns.html"
    help: ClassVar[str] = "predictions"
    number: int
    sentence: str
    description: str
    problems: tuple[str, ...]
    form: MappingView


@dataclass(frozen=True, kw_only=True)
class PreviewPage(Page):
    """Each row given and become, the bad ones named; nothing is kept yet."""

    template: ClassVar[str] = "predictions/preview.html"
    help: ClassVar[str] = "predictions"
    number: int
    car: str
    sentence: str
    problem: str
    fields: dict[str, str]
    said: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[RowView, ...]
    marks: dict[str, SetupMark]
    bad: tuple[tuple[str, str], ...]
    lines: tuple[MatchLine, ...]
    setups: tuple[str, ...]
    revised: str


async def _typed(request: Request) -> AsyncIterator[Typed]:
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        yield {name: tuple(str(value)[:2000] for value in form.getlist(name)) for name in form}


TypedForm = Annotated[Typed, Depends(_typed)]


@router.get("/add", name="add_predictions")
def add(
    request: Request, archive: TheArchive, car: Annotated[str, Query(max_length=200)] = "",
    revises: Annotated[int | None, Query(ge=1, le=2**31)] = None,
) -> HTMLResponse:  # fmt: skip
    """The form."""
    return render(request, _add_page(request, archive, car, revises))


@router.post("/add", name="take_predictions")
def take(
    request: Request, *, archive: TheArchive, person: CurrentPerson, table: UploadFile | None = None,
    pasted: Annotated[str, Form(max_length=MOST_BYTES)] = "", car: Annotated[str, Form(max_length=400)] = "",
    revises: Annotated[str, Form(max_length=12)] = "",
) -> Response:  # fmt: skip
    """Keep the table as it came; its columns come next."""
    replaced = int(revises) if revises.isascii() and revises.isdigit() else None
    try:
        name, data = _table(table, pasted)
        read_ahead(name, data)  # a large workbook takes seconds, in which nobody else could write
        with archive.database.writing() as session:
            number = begin_draft(archive, session, car, name, data, who=person, revises=replaced).id
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _add_page(request, archive, car, replaced, problem=str(refusal), pasted=pasted), 422)
    return RedirectResponse(str(request.app.url_path_for("prediction_table", number=str(number))), SEE_OTHER)


def _table(table: UploadFile | None, pasted: str) -> tuple[str, bytes]:
    if table is not None and table.filename:
        return table.filename.replace("\\", "/").rpartition("/")[2][:200] or "table", table.file.read(MOST_BYTES + 1)
    if pasted.strip():
        return PASTED, pasted.encode("utf-8", "replace")
    raise StillairError(NOTHING)


def _add_page(
    request: Request, archive: Archive, car: str, revises: int | None, *, problem: str = "", pasted: str = ""
) -> AddPredictionsPage:
    with archive.database.reading() as session:
        cars = car_names(archive, session)
        replaced = None if revises is None else find_set(session, revises)
    return AddPredictionsPage(
        title="Bring predictions",
        crumbs=_crumbs(request),
        problem=problem,
        car=replaced.car if replaced else car or (cars[0] if cars else ""),
        cars=cars,
        pasted=pasted,
        revises=revises,
        revised=replaced.name if replaced else "",
    )


@router.get("/tables/{number}", name="prediction_table")
def columns(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """What the columns are, as proposed or as said so far."""
    return render(request, _columns_page(request, archive, number, None, {}))


@router.post("/tables/{number}", name="map_predictions")
def say_columns(request: Request, number: Number, archive: TheArchive, typed: TypedForm) -> Response:
    """Keep what was said of the columns; the rows come next, or one sentence beside each thing that is missing."""
    with archive.database.writing() as session:
        draft = find_draft(session, number)
        table = table_of(archive, draft.sha256, draft.file_name)
        choices = choices_of_form(typed, len(table.columns))
        keep_choices(session, number, choices)
    problems = _problems(table, choices)
    if problems:
        return render(request, _columns_page(request, archive, number, choices, problems), 422)
    return RedirectResponse(str(request.app.url_path_for("preview_predictions", number=str(number))), SEE_OTHER)


def _problems(table: GivenTable, choices: Mapping[str, Any]) -> dict[str, str]:
    """Field → sentence."""
    try:
        reading = reading_of(choices, len(table.columns))
    except FieldError as refusal:
        return {refusal.field: str(refusal)}
    found: dict[str, str] = {}
    for field, sentence in lacks(table, reading):
        found[field] = f"{found[field]} {sentence}" if field in found else sentence
    return found


def _columns_page(
    request: Request, archive: Archive, number: int, choices: Mapping[str, Any] | None, problems: dict[str, str]
) -> PredictionTablePage:
    with archive.database.reading() as session:
        draft = find_draft(session, number)
        table = table_of(archive, draft.sha256, draft.file_name)
        known = False
        if choices is None and not draft.choices:
            wheelbase = wheelbase_of_car(archive, session, draft.car)
            choices, known = first_choices(session, table, wheelbase)
        form = mapping_view(table, choices or draft.choices, problems)
        car = draft.car
    return PredictionTablePage(
        title="What the columns are",
        crumbs=(*_crumbs(request), car_crumb(request, car)),
        number=number,
        sentence=_columns_sentence(form, known=known, missing=len(problems)),
        description=f"{table.name}: {table.description}.",
        problems=tuple(sentence for field, sentence in problems.items() if field == "columns"),
        form=form,
    )


def _columns_sentence(form: MappingView, *, known: bool, missing: int) -> str:
    used = sum(bool(one.role) for one in form.columns)
    share = f"{used} of {len(form.columns)} columns"
    if missing:
        return f"Nothing was kept yet: {counted(missing, 'thing')} {'needs' if missing == 1 else 'need'} another look."
    if known:
        return f"A table with these headers was read before: {share} are taken as then. Check them, then see the rows."
    return f"{share} were recognised by name and unit. Check them, say what is open, then see the rows."


@router.post("/tables/{number}/drop", name="drop_prediction_table")
def drop(request: Request, number: Number, archive: TheArchive) -> Response:
    """Let a table go that is not yet a set."""
    with archive.database.writing() as session:
        session.delete(find_draft(session, number))
    return RedirectResponse(str(request.app.url_path_for("predictions")), SEE_OTHER)


@router.get("/tables/{number}/rows", name="preview_predictions")
def preview(request: Request, number: Number, archive: TheArchive) -> Response:
    """Each row given and become."""
    with archive.database.reading() as session:
        draft = find_draft(session, number)
        problems = _problems(table_of(archive, draft.sha256, draft.file_name), draft.choices)
    if problems:
        return RedirectResponse(str(request.app.url_path_for("prediction_table", number=str(number))), SEE_OTHER)
    return render(request, _preview_page(request, archive, number, {}))


@router.post("/tables/{number}/rows", name="keep_predictions")
def keep(request: Request, number: Number, *, archive: TheArchive, person: CurrentPerson, typed: TypedForm) -> Response:
    """Keep the set: whole, or without the bad rows where that is said."""
    try:
        with archive.database.reading() as session:
            wanted = wanted_of(find_draft(session, number), typed)
            check_matches(archive, session, wanted.head.car, wanted.matches)
        with archive.database.writing() as session:
            made = keep_draft(archive, session, find_draft(session, number), wanted, who=person).id
    except NotFoundError:
        raise
    except StillairError as refusal:
        fields = {name: one(typed, name) for name in typed}
        return render(request, _preview_page(request, archive, number, fields, problem=str(refusal), typed=typed), 422)
    return RedirectResponse(str(request.app.url_path_for("prediction_set", number=str(made))), SEE_OTHER)


def wanted_of(draft: PredictionDraft, typed: Typed) -> Wanted:
    """What the form says of the set. Raises StillairError."""
    head = SetHead(
        draft.car, checked("name", one(typed, "name")), checked("recipe", one(typed, "recipe")),
        checked("author", one(typed, "author")), _date(one(typed, "dated")),
    )  # fmt: skip
    return Wanted(head, one(typed, "without_bad") == "yes", matches_of_form(typed), one(typed, "reason")[:400])


def _date(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text) if text else None
    except ValueError:
        raise StillairError(f"The date must be a day as 2026-05-09, not “{text[:40]}”.") from None


def _preview_page(
    request: Request, archive: Archive, number: int, fields: dict[str, str], *,
    problem: str = "", typed: Typed | None = None,
) -> PreviewPage:  # fmt: skip
    with archive.database.reading() as session:
        draft = find_draft(session, number)
        car, file_name, revises = draft.car, draft.file_name, draft.revises_id
        table = table_of(archive, draft.sha256, draft.file_name)
        content = content_of_table(table, reading_of(draft.choices, len(table.columns)))
        said, setups = matches_of(session, car), setups_of_car(archive, session, car)
        replaced = None if revises is None else find_set(session, revises)
        revised = "" if replaced is None else replaced.name
        if not fields and replaced is not None:
            fields = {"name": replaced.name, "recipe": replaced.recipe, "author": replaced.author}
    rows = row_views(content, said)
    names = list(dict.fromkeys(row.setup for row in rows))
    chosen = matches_of_form(typed or {})
    lines = tuple(
        MatchLine(name, chosen.get(name, said.get(name, likely_setup(name, setups))), name in said)
        for name in names
        if name not in setups
    )
    there = request.app.url_path_for("prediction_table", number=str(number))
    return PreviewPage(
        title="What the rows become",
        crumbs=(*_crumbs(request), car_crumb(request, car), Crumb("Columns", str(there))),
        number=number,
        car=car,
        sentence=preview_sentence(content),
        problem=problem,
        fields={"name": file_name.rpartition(".")[0][:80], **fields},
        said=content.said,
        columns=columns_of(content),
        rows=rows,
        marks=marks_of(setups, names),
        bad=tuple((row.problem, "; ".join(f"{k} {v}" for k, v in row.given.items())) for row in content.left_out),
        lines=lines,
        setups=setups,
        revised=revised,
    )


def preview_sentence(content: Content) -> str:
    """How many rows can be used, and what to do next."""
    good, bad = len(content.taken), len(content.left_out)
    meshes = len(content.rows) - good - bad
    kind = "case" if content.kind == "areas" else "pressure"
    text = f"{counted(len(content.rows), 'row')} {'gives' if len(content.rows) == 1 else 'give'} {counted(good, kind)}"
    if meshes:
        text += f", {counted(meshes, 'row')} of them coarser meshes"
    if not good:
        return "No row of the table can be used; nothing can be kept."
    if bad:
        return f"{text}; {counted(bad, 'row')} cannot be used. Look at them: nothing is kept yet."
    return f"{text}. Look them over, then keep the set."


def _crumbs(request: Request) -> tuple[Crumb, ...]:
    there = request.app.url_path_for
    return (Crumb("Season", str(there("days"))), Crumb("Predictions", str(there("predictions"))))
