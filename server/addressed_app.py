"""The application, finding the address of a route by its name without asking every router for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import cached_property
from typing import Any

from fastapi import FastAPI
from starlette.datastructures import URLPath
from starlette.routing import BaseRoute, Mount, NoMatchFound, Route


class AddressedApp(FastAPI):
    """Routes by name from a table made at the first question, when all are there.

    The framework's own look-up prepares each router for requests on the way: the first page would wait for all.
    """

    @cached_property
    def _by_name(self) -> dict[str, list[Route | Mount]]:
        table: dict[str, list[Route | Mount]] = {}
        for route in _plain_routes(self.routes):
            table.setdefault(route.name, []).append(route)
        return table

    def url_path_for(self, name: str, /, **path_params: Any) -> URLPath:
        """The address of the route of that name. Raises NoMatchFound where none takes these parts."""
        for route in self._by_name.get(name, ()):
            with suppress(NoMatchFound):
                return route.url_path_for(name, **path_params)
        raise NoMatchFound(name, path_params)


def _plain_routes(routes: Sequence[BaseRoute]) -> Iterator[Route | Mount]:
    """The routes themselves, out of the routers that hold them; no router is included under a prefix."""
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from _plain_routes(inner.routes)
        elif isinstance(route, Route | Mount):
            yield route
