"""What the JSON interface offers, described by OpenAPI 3.1."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.openapi.utils import get_openapi

from server import __version__

router = APIRouter()
SHOWN = ("/api/", "/uploads")
ABOUT = (
    "Test days, their results and their history. A write is JSON or a zip and names who sends it in the header "
    "X-Stillair-Who. On a network Authorization: Bearer carries a token, which names its account instead."
)


@router.get("/api/openapi.json", name="api_description", include_in_schema=False)
def description(request: Request) -> dict[str, Any]:
    """The routes under /api, and the schemas that they name."""
    return document(request.app)


def document(app: FastAPI) -> dict[str, Any]:
    """The OpenAPI document; every refusal has the shape of `Problem`, what pydantic would say is never sent."""
    whole = get_openapi(title="Stillair", version=__version__, description=ABOUT, routes=app.routes)
    paths = {path: one for path, one in whole["paths"].items() if path.startswith(SHOWN)}
    for operation in (operation for item in paths.values() for operation in item.values()):
        operation["responses"] |= {status: _refusal(words) for status, words in _refusals(operation)}
    known, needed, fresh = whole.get("components", {}).get("schemas", {}), {}, [paths]
    while fresh:
        names = {name for name in known if f"/schemas/{name}'" in str(fresh)} - set(needed)
        needed |= {name: known[name] for name in names}
        fresh = [known[name] for name in names]
    return {**whole, "paths": paths, "components": {"schemas": dict(sorted(needed.items()))}}


def _refusals(operation: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """What any route may answer besides what it says itself."""
    yield "401", "On a network: no token, or one that has ended."
    yield "403", "The role of the token is not enough, or a write does not say who sends it."
    yield "503", "Others hold the archive's database; try again."
    if "requestBody" in operation:
        yield "400", "The body is not JSON as RFC 8259 has it."
        yield "413", "The body is larger than can be taken."
        yield "507", "The disk of the archive is full."


def _refusal(words: str) -> dict[str, Any]:
    schema = {"$ref": "#/components/schemas/Problem"}
    return {"description": words, "content": {"application/json": {"schema": schema}}}
