"""What the JSON interface offers, described by OpenAPI 3.1."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.openapi.utils import get_openapi

from server import __version__

router = APIRouter()
SHOWN = ("/api/", "/uploads")


@router.get("/api/openapi.json", name="api_description", include_in_schema=False)
def description(request: Request) -> dict[str, Any]:
    """The routes under /api, and the schemas that they name."""
    whole = get_openapi(title="Stillair", version=__version__, routes=request.app.routes)
    paths = {path: one for path, one in whole["paths"].items() if path.startswith(SHOWN)}
    known, needed, fresh = whole.get("components", {}).get("schemas", {}), {}, [paths]
    while fresh:
        names = {name for name in known if f"/schemas/{name}'" in str(fresh)} - set(needed)
        needed |= {name: known[name] for name in names}
        fresh = [known[name] for name in names]
    return {**whole, "paths": paths, "components": {"schemas": dict(sorted(needed.items()))}}
