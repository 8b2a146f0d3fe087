"""The page that finds things again."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from html import unescape
from typing import Annotated, ClassVar

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from server.dependencies import TheArchive
from server.help.topics import TOPICS
from server.locations import web_folder
from server.search.service import Group, search
from server.search.words import words_of
from server.templating import Crumb, Page, render

router = APIRouter(default_response_class=HTMLResponse)


@dataclass(frozen=True, kw_only=True)
class SearchPage(Page):
    """What was looked for and what was found, group by group."""

    template: ClassVar[str] = "search/found.html"
    help: ClassVar[str] = "search"
    q: str
    sentence: str
    groups: tuple[Group, ...]


@router.get("/search", name="search")
def find(request: Request, archive: TheArchive, q: Annotated[str, Query(max_length=200)] = "") -> HTMLResponse:
    """Everything that holds all the words."""
    words = words_of(q)
    groups: tuple[Group, ...] = ()
    if words.all:
        with archive.database.reading() as session:
            groups = tuple(search(archive, session, words, help_texts()))
    crumbs = (Crumb("Season", str(request.app.url_path_for("days"))),)
    return render(request, SearchPage(title="Search", crumbs=crumbs, q=q, sentence=sentence(q, groups), groups=groups))


def sentence(q: str, groups: tuple[Group, ...]) -> str:
    """How much was found, in one sentence."""
    typed = " ".join(q.split())
    if not typed:
        return "Words of a day, a car, a part, a note or a finding, or the start of a SHA-256, find it again."
    if not groups:
        return f"Nothing here holds “{typed}”; fewer or shorter words find more."
    number = sum(group.number for group in groups)
    kinds = ", ".join(f"{group.number} under {group.title.lower()}" for group in groups)
    return f"{number} place{' holds' if number == 1 else 's hold'} “{typed}”: {kinds}."


@lru_cache(maxsize=1)
def help_texts() -> dict[str, tuple[str, str]]:
    """Topic → its title and its words without marks."""
    folder = web_folder() / "templates" / "help" / "topics"
    return {topic: (title, _plain((folder / f"{topic}.html").read_text("utf-8"))) for topic, title in TOPICS.items()}


def _plain(template: str) -> str:
    return unescape(re.sub(r"{[%{#].*?[%}#]}|<[^>]+>", " ", template, flags=re.DOTALL))
