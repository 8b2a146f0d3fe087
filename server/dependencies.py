"""What routes need, by name."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, Request

from server.archive.archive import Archive
from server.archive.disk import disk_in_words
from server.archive.jobs import JobRunner
from server.people import WHO_COOKIE, WHO_HEADER, person_of
from server.results.service import ResultShelf
from server.settings import Settings


def _settings(request: Request) -> Settings:
    return request.app.state.settings


async def _archive(request: Request) -> AsyncIterator[Archive]:
    """Whatever a route writes on a full disk, in the database or beside it, is the same sentence."""
    with disk_in_words():
        request.state.news = request.app.state.archive.database.news.newest  # before anything is read
        yield request.app.state.archive


def _jobs(request: Request) -> JobRunner:
    return request.app.state.jobs


def _results(request: Request) -> ResultShelf:
    return request.app.state.results


def _person(request: Request) -> str:
    return person_of(request.headers.get(WHO_HEADER, "").strip() or request.cookies.get(WHO_COOKIE, ""))


CurrentSettings = Annotated[Settings, Depends(_settings)]
TheArchive = Annotated[Archive, Depends(_archive)]
Jobs = Annotated[JobRunner, Depends(_jobs)]
Results = Annotated[ResultShelf, Depends(_results)]
CurrentPerson = Annotated[str, Depends(_person)]
