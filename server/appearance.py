"""The theme that a person pins, kept in a cookie, so that the page comes in it without a flash."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form
from fastapi.responses import RedirectResponse

from server.templating import THEME_COOKIE, THEMES

router = APIRouter()

A_YEAR_S = 365 * 24 * 3600


@router.post("/theme", name="theme")
def pin_theme(theme: Annotated[str, Form()], back: Annotated[str, Form()] = "/") -> RedirectResponse:
    """Pin light or dark, or follow the device again; goes back to the page it came from."""
    parts = urlsplit(back)
    here = back if back.startswith("/") and not parts.netloc and not back.startswith(("//", "/\\")) else "/"
    answer = RedirectResponse(here, 303)
    chosen = theme if theme in THEMES else THEMES[0]
    answer.set_cookie(THEME_COOKIE, chosen, max_age=A_YEAR_S, samesite="lax", httponly=False)
    return answer
