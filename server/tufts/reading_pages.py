"""A photo read by the program: asked for, on its way, ended."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.archive.jobs import find_job
from server.days.day_addresses_pages import SEE_OTHER, DayId
from server.days.job_view import job_view
from server.days.revisions import newest_day
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.templating import is_htmx, render_part
from server.tufts.addresses_pages import PhotoId
from server.tufts.reading_job import find_reading, queue_reading
from server.tufts.service import find_photo

router = APIRouter(default_response_class=HTMLResponse)


@router.post("/days/{day_id}/tufts/{photo_id}/read", name="photo_read")
def read(
    request: Request, day_id: DayId, photo_id: PhotoId, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson
) -> Response:
    """Have the program look for tufts; what it finds are proposals."""
    with archive.database.writing() as session:
        _, day = newest_day(archive, session, day_id)
        photo = find_photo(session, day, day_id, photo_id)
        job_id = queue_reading(archive, session, photo, person)
    jobs.wake()
    if is_htmx(request):
        return reading(request, day_id, photo_id, job_id, archive)
    there = request.app.url_path_for("photo", day_id=str(day_id), photo_id=str(photo_id))
    return RedirectResponse(f"{there}#board", SEE_OTHER)


@router.get("/days/{day_id}/tufts/{photo_id}/reading/{job_id}", name="photo_reading")
def reading(request: Request, day_id: DayId, photo_id: PhotoId, job_id: str, archive: TheArchive) -> Response:
    """The piece of the page that waits for it; at its end the page is asked for again."""
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        photo = find_photo(session, day, day_id, photo_id)
        find_job(session, job_id)
        job = job_view(find_reading(session, photo, job_id))
    if not job.open:
        return HTMLResponse("", headers={"HX-Refresh": "true"})
    return render_part(request, "tufts/reading.html", day_id=day_id, photo=photo, reading=job)
