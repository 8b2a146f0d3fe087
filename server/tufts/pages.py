"""All pages of tufts under one router; fixed addresses stand before those with a photo's number."""

from __future__ import annotations

from fastapi import APIRouter

from server.tufts import (
    burst_pages,
    day_tufts_pages,
    map_pages,
    photo_pages,
    picture_pages,
    reading_pages,
    station_pages,
)

router = APIRouter()
for module in (day_tufts_pages, map_pages, station_pages, picture_pages, reading_pages, burst_pages, photo_pages):
    router.include_router(module.router)
