"""The Jinja environment: pages from dataclasses, values with their uncertainty, addresses by route name."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from typing import Any, ClassVar
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from server import __version__
from server.figures.table import Cell
from server.locations import web_folder
from server.people import WHO_COOKIE, person_of
from server.testday.rounding import with_uncertainty

THEMES = ("auto", "light", "dark")
THEME_COOKIE = "theme"
MARK = "\0"
# Control characters but tab and line ends; zero widths; what embeds, overrides or isolates a direction (UAX #9).
UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
PLAIN_IN_PATHS = "!$&'()*+,;=:@"  # RFC 3986 section 3.3: what a segment may hold besides letters, digits and -._~


@dataclass(frozen=True, slots=True)
class Crumb:
    """A step of the way up: its words and its address."""

    text: str
    href: str


@dataclass(frozen=True, kw_only=True)
class Page:
    """What every page has; each page is a dataclass of its own that names its template and its help.

    live: it follows other people's changes in place.
    """

    template: ClassVar[str]
    help: ClassVar[str] = ""
    live: ClassVar[bool] = False
    title: str
    crumbs: tuple[Crumb, ...] = ()


def make_environment() -> Environment:
    """Templates of web/templates; text is text, a missing name is an error."""
    environment = Environment(
        loader=FileSystemLoader(web_folder() / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=seen,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["with_uncertainty"] = with_uncertainty
    environment.filters["cell"] = cell_text
    environment.globals["version"] = __version__
    return environment


def seen(value: Any) -> Any:
    """Text without signs that nobody sees and that turn what stands round them: each is shown as U+FFFD."""
    return UNSEEN.sub("\ufffd", value) if type(value) is str else value


def cell_text(cell: Cell) -> str:
    """A table's cell as it is read on the page: numbers to four digits, nothing for None."""
    if cell is None:
        return ""
    return f"{cell:.4g}" if isinstance(cell, float) else str(cell)


def render(request: Request, page: Page, status: int = 200) -> HTMLResponse:
    """The page as HTML."""
    environment: Environment = request.app.state.templates
    context = {field.name: getattr(page, field.name) for field in dataclasses.fields(page)}
    return HTMLResponse(
        environment.get_template(page.template).render(**context, **_frame(request, page)), status
    )


def render_part(request: Request, template: str, status: int = 200, **context: Any) -> HTMLResponse:
    """A piece of a page, for htmx."""
    environment: Environment = request.app.state.templates
    return HTMLResponse(
        environment.get_template(template).render(**context, path_for=_path_for(request)), status
    )


def is_htmx(request: Request) -> bool:
    """Whether a piece of a page is asked for."""
    return request.headers.get("HX-Request") == "true"


def _frame(request: Request, page: Page) -> dict[str, Any]:
    theme = request.cookies.get(THEME_COOKIE, "auto")
    return {
        "theme": theme if theme in THEMES else "auto",
        "here": request.url.path,
        "live": page.live,
        "news": getattr(request.state, "news", 0),
        "help_name": page.help,
        "who": person_of(request.cookies.get(WHO_COOKIE, "")),
        "who_typed": WHO_COOKIE in request.cookies,
        "me": getattr(request.state, "visitor", None),
        "path_for": _path_for(request),
    }


def _path_for(request: Request) -> Any:
    return request.app.state.addresses


class Addresses:
    """Addresses by route name. Looking a route up is slow, and a long page has hundreds: each is looked up once."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._forms: dict[tuple[str, ...], str] = {}

    def __call__(self, name: str, /, **parts: Any) -> str:
        """The address of the route with these parts in it."""
        texts = {part: str(value) for part, value in parts.items()}
        if not all(texts.values()) or any("/" in text or MARK in text for text in texts.values()):
            return str(self._app.url_path_for(name, **texts))  # of a file in a folder, or refused
        key = (name, *texts)
        if key not in self._forms:
            self._forms[key] = str(self._app.url_path_for(name, **{part: f"{MARK}{part}{MARK}" for part in texts}))
        address = self._forms[key]
        for part, text in texts.items():
            address = address.replace(f"{MARK}{part}{MARK}", quote(text, safe=PLAIN_IN_PATHS))
        return address
