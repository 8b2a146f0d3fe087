"""What a browser keeps for its person: the theme, so that a page comes in it without a flash, and the name."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form
from fastapi.responses import RedirectResponse

from server.people import WHO_COOKIE, cookie_of
from server.templating import THEME_COOKIE, THEMES

router = APIRouter()

A_YEAR_S = 365 * 24 * 3600


@router.post("/theme", name="theme")
def pin_theme(theme: Annotated[str, Form()], back: Annotated[str, Form()] = "/") -> RedirectResponse:
    """Pin light or dark, or follow the device again; goes back to the page it came from."""
    answer = RedirectResponse(local_path(back), 303)
    chosen = theme if theme in THEMES else THEMES[0]
    answer.set_cookie(THEME_COOKIE, chosen, max_age=A_YEAR_S, samesite="lax", httponly=False)
    return answer


@router.post("/who", name="who")
def who(name: Annotated[str, Form()] = "", back: Annotated[str, Form()] = "/") -> RedirectResponse:
    """Keep the name of who is at this screen; an empty one is forgotten."""
    answer = RedirectResponse(local_path(back), 303)
    known = cookie_of(name)
    answer.set_cookie(WHO_COOKIE, known, max_age=A_YEAR_S if known else 0, samesite="lax", httponly=True)
    return answer


def local_path(back: str) -> str:
    """An address to go back to, when it is one of this server's own; else the first page."""
    own = back.startswith("/") and not back.startswith(("//", "/\\")) and not urlsplit(back).netloc
    return back if own else "/"
