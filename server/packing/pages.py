"""A season out as one zip, and one in: the page for both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar
from urllib.parse import quote

from fastapi import APIRouter, Query, Request, UploadFile
from fastapi.responses import HTMLResponse, Response, StreamingResponse

from server.accounts.roles import LEAD
from server.days.day_addresses_pages import to_job
from server.days.season import season_years
from server.days.season_choice import named_year
from server.dependencies import CurrentPerson, CurrentSettings, Jobs, TheArchive, visitor_of
from server.errors import StillairError
from server.packing.bring_job import queue_unpacking
from server.packing.bringing import check_empty
from server.packing.season_zip import CARRIED, LEFT_OUT
from server.packing.sending import packed_stream
from server.results.season_days import season_days
from server.templating import Crumb, Page, is_htmx, render, render_part

router = APIRouter(prefix="/season", default_response_class=HTMLResponse)
UNPROCESSABLE = 422
ZIP = "application/zip"
Year = Annotated[str, Query(max_length=10)]
Car = Annotated[str, Query(max_length=200)]


@dataclass(frozen=True, kw_only=True)
class PackPage(Page):
    """Pack days into one zip, or unpack one. there: why none can be unpacked here, empty where one can.

    may: this visitor's role may unpack; limit_mb: the largest zip that the page takes.
    """

    template: ClassVar[str] = "history/pack.html"
    help: ClassVar[str] = "packing"
    sentence: str
    any_days: bool
    years: tuple[str, ...]
    cars: tuple[str, ...]
    year: str
    car: str
    carried: tuple[str, ...]
    left_out: tuple[str, ...]
    there: str
    may: bool
    limit_mb: float
    problem: str


@router.get("/pack", name="season_pack")
def pack_page(
    request: Request, archive: TheArchive, settings: CurrentSettings, year: Year = "", car: Car = ""
) -> HTMLResponse:
    """What goes into the zip, and the forms."""
    return render(request, _page(request, archive, settings.upload_limit_mb, (year, car)))


@router.get("/packed.zip", name="packed_season", response_class=Response)
def packed_season(archive: TheArchive, year: Year = "", car: Car = "") -> StreamingResponse:
    """The zip, while it is made."""
    return zip_answer(*packed_stream(archive, named_year(year), car))


def zip_answer(name: str, pieces: object) -> StreamingResponse:
    """A stream to be saved under a name."""
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return StreamingResponse(pieces, media_type=ZIP, headers=headers)  # type: ignore[arg-type]


@router.post("/unpack", name="unpack_season")
def unpack_season(
    request: Request, *, archive: TheArchive, jobs: Jobs, settings: CurrentSettings, person: CurrentPerson,
    season_zip: UploadFile | None = None,
) -> Response:  # fmt: skip
    """A packed season into this empty archive."""
    try:
        if season_zip is None:
            raise StillairError("No file was sent; choose the zip of a packed season.")
        job_id = queue_unpacking(archive, season_zip.filename or "", season_zip.file, person)
    except StillairError as refusal:
        if is_htmx(request):
            return render_part(request, "partials/problem.html", UNPROCESSABLE, problem=str(refusal))
        page = _page(request, archive, settings.upload_limit_mb, ("", ""), str(refusal))
        return render(request, page, UNPROCESSABLE)
    return to_job(request, jobs, job_id)


def _page(
    request: Request, archive: TheArchive, limit_mb: float, chosen: tuple[str, str], problem: str = ""
) -> PackPage:
    with archive.database.reading() as session:
        days = season_days(archive, session)
        try:
            check_empty(session)
            there = ""
        except StillairError as full:
            there = str(full)
    visitor = visitor_of(request)
    return PackPage(
        title="Pack a season",
        crumbs=(Crumb("Season", str(request.app.url_path_for("days"))),),
        sentence=_sentence(len(days)),
        any_days=bool(days),
        years=tuple(str(year) for year in season_years(days)),
        cars=tuple(dict.fromkeys(day.car for day in days if day.car)),
        year=chosen[0],
        car=chosen[1],
        carried=CARRIED,
        left_out=LEFT_OUT,
        there=there,
        may=visitor is not None and visitor.may(LEAD),
        limit_mb=limit_mb,
        problem=problem,
    )


def _sentence(days: int) -> str:
    if not days:
        return "Nothing is kept here yet; a packed season can be unpacked into this archive, all of it or nothing."
    count = "One test day goes" if days == 1 else f"{days} test days go"
    return (
        f"{count} into one zip, with every revision, result and photo, tables for a spreadsheet and the history; "
        "unpacked into an empty archive it gives the same days and the same tables."
    )
