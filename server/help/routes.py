"""The routes of the JSON interface as a page lists them, each with a line for a shell that asks it."""

from __future__ import annotations

import json
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

METHODS = ("get", "post", "patch", "put", "delete")
ADDRESS = "http://127.0.0.1:8421"
# What stands in an example for a part of an address.
PARTS = {
    "day_id": "1",
    "number": "1",
    "photo_id": "1",
    "result_id": "1",
    "slug": "mass_kg",
    "name": "forest",
    "job_id": "JOB",
    "upload_id": "UPLOAD",
    "sha256": "SHA256",
}
FILE_OF = {"application/zip": "day.zip", "application/octet-stream": "run01.csv"}


@dataclass(frozen=True, slots=True)
class RouteLine:
    """A route: what it does, and a line that asks it."""

    method: str
    path: str
    summary: str
    text: str
    example: str


def route_groups(document: Mapping[str, Any], address: str = ADDRESS) -> tuple[tuple[str, tuple[RouteLine, ...]], ...]:
    """The routes of an OpenAPI document by their tag, in the order in which they stand there."""
    groups: dict[str, list[RouteLine]] = {}
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                line = _line(document, method, path, address)
                groups.setdefault((item[method].get("tags") or ["more"])[0], []).append(line)
    return tuple((tag, tuple(lines)) for tag, lines in groups.items())


def _line(document: Mapping[str, Any], method: str, path: str, address: str) -> RouteLine:
    operation = document["paths"][path][method]
    example = curl(method, path, operation, document, address)
    text = str(operation.get("description", "")).replace("\n", " ")
    return RouteLine(method.upper(), path, operation["summary"], text, example)


def curl(method: str, path: str, operation: Mapping[str, Any], document: Mapping[str, Any], address: str) -> str:
    """The line for a shell; a write is three of them."""
    there = shlex.quote(address + filled(path, operation))
    if method == "get":
        return f"curl {there}"
    kind, body = body_of(operation, document)
    data = f"@{FILE_OF[kind]}" if kind in FILE_OF else json.dumps(body, ensure_ascii=False)
    headers = f"-H 'X-Stillair-Who: Ana' -H 'Content-Type: {kind}'"
    return f"curl -X {method.upper()} {there} \\\n  {headers} \\\n  --data-binary {shlex.quote(data)}"


def filled(path: str, operation: Mapping[str, Any]) -> str:
    """An address with something in each part, and what its query needs."""
    for name, part in PARTS.items():
        path = path.replace(f"{{{name}}}", part)
    needed = [one for one in operation.get("parameters", ()) if one["in"] == "query" and one.get("required")]
    query = "&".join(f"{one['name']}={_in_query(one)}" for one in needed)
    return f"{path}?{query}" if query else path


def body_of(operation: Mapping[str, Any], document: Mapping[str, Any]) -> tuple[str, Any]:
    """Type and example of what a write sends; an empty object where it sends nothing."""
    content = operation.get("requestBody", {}).get("content", {"application/json": {}})
    kind, media = next(iter(content.items()))
    name = media.get("schema", {}).get("$ref", "").rpartition("/")[2]
    schema = document["components"]["schemas"].get(name, {})
    return kind, next(iter(schema.get("examples", ())), {})


def _in_query(parameter: Mapping[str, Any]) -> str:
    return "0" if parameter["schema"].get("type") == "integer" else "logs/run01.csv"
