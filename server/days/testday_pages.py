"""All pages of a test day under one router."""

from __future__ import annotations

from fastapi import APIRouter

from server.days import adding_pages, day_course_pages, day_form_pages, day_pages

router = APIRouter()
for module in (day_course_pages, day_form_pages, adding_pages, day_pages):
    router.include_router(module.router)
