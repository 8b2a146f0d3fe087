"""The feed: what changed since a page was made. Asked for again and again by every page that is looked at."""

from __future__ import annotations

import asyncio
import time
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse

from server.archive.news import News

LOOK_EVERY_S = 0.05
MOST_HELD_S = 2.0

router = APIRouter()


@router.get("/live", name="live", include_in_schema=False)
async def live(
    request: Request,
    since: Annotated[int, Query(ge=0, le=2**53)] = 0,
    hold: Annotated[float, Query(ge=0.0, le=MOST_HELD_S)] = 0.0,
) -> JSONResponse:
    """The newest count, and the days that were changed since; `others`: something
    that is no day's; `everything`: that cannot be told.

    hold: seconds that the answer may wait for something to tell. Reads numbers in memory and waits for nobody
    else, so that many pages may ask.
    """
    news = request.app.state.archive.database.news
    await _change(news, since, hold)
    days = news.days_since(since)
    told = {
        "newest": news.newest,
        "everything": days is None,
        "days": sorted(day for day in days or () if day),
        "others": None in (days or ()),
    }
    return JSONResponse(told, headers={"Cache-Control": "no-store"})


async def _change(news: News, since: int, hold_s: float) -> None:
    """Until there is something to tell, `hold_s` at most."""
    end = time.monotonic() + hold_s
    while news.newest == since and time.monotonic() < end:
        await asyncio.sleep(LOOK_EVERY_S)
