"""The feed: what changed since a page was made. Asked for every second by every page that is looked at."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse

router = APIRouter()


@router.get("/live", name="live", include_in_schema=False)
async def live(request: Request, since: Annotated[int, Query(ge=0, le=2**53)] = 0) -> JSONResponse:
    """The newest count, and the days that were changed since; `others`: something
    that is no day's; `everything`: that cannot be told.

    Reads numbers in memory and waits for nobody, so that many pages may ask.
    """
    news = request.app.state.archive.database.news
    days = news.days_since(since)
    told = {
        "newest": news.newest,
        "everything": days is None,
        "days": sorted(day for day in days or () if day),
        "others": None in (days or ()),
    }
    return JSONResponse(told, headers={"Cache-Control": "no-store"})
