"""Help pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.accounts.roles import ROLES, WORDS
from server.accounts.rules import RULES
from server.errors import NotFoundError
from server.help.api import document
from server.help.asvs import Item, items
from server.help.folder_tables import KeyLine, key_tables, role_lines
from server.help.routes import RouteLine, route_groups
from server.help.studies import Study, studies
from server.help.topics import TOPICS
from server.templating import Crumb, Page, render
from server.testday.findings import CODES

router = APIRouter(default_response_class=HTMLResponse)


@dataclass(frozen=True, kw_only=True)
class HelpIndexPage(Page):
    """All topics."""

    template: ClassVar[str] = "help/index.html"
    topics: dict[str, str]


@dataclass(frozen=True, kw_only=True)
class HelpPage(Page):
    """One topic; its words are the template help/topics/{topic}.html."""

    template: ClassVar[str] = "help/topic.html"
    topic: str
    topics: dict[str, str]
    codes: dict[str, str]
    studies: list[Study]
    folder_keys: tuple[tuple[str, tuple[KeyLine, ...]], ...]
    roles: tuple[tuple[str, str, str], ...]
    routes: tuple[tuple[str, tuple[RouteLine, ...]], ...]
    safety: tuple[Item, ...]
    allowed: tuple[tuple[str, str, tuple[str, ...]], ...]


@router.get("/help", name="help")
def help_index(request: Request) -> HTMLResponse:
    """The list of topics."""
    return render(request, HelpIndexPage(title="Help", topics=TOPICS))


@router.get("/help/{topic}", name="help_topic")
def help_topic(request: Request, topic: str) -> HTMLResponse:
    """One topic."""
    if topic not in TOPICS:
        raise NotFoundError(f"The help has no page called {topic[:40]}.")
    page = HelpPage(
        title=TOPICS[topic],
        crumbs=(Crumb("Help", str(request.app.url_path_for("help"))),),
        topic=topic,
        topics=TOPICS,
        codes=dict(sorted(CODES.items())) if topic == "findings" else {},
        studies=studies() if topic == "studies" else [],
        folder_keys=key_tables() if topic == "folder" else (),
        roles=role_lines() if topic == "folder" else (),
        safety=items() if topic == "accounts" else (),
        allowed=_allowed() if topic == "accounts" else (),
        routes=route_groups(document(request.app), str(request.base_url).rstrip("/")) if topic == "api" else (),
    )
    return render(request, page)


def _allowed() -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Each role, what it is for, and the routes that ask for it."""
    lines = {role: tuple(" ".join(rule) for rule, need in RULES.items() if need == role) for role in ROLES}
    return tuple((role, WORDS[role], lines[role]) for role in ROLES)
