"""The OpenAPI document, held against OpenAPI 3.1 by hand and against the server: routes, shapes, examples."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from server.help.api import document
from server.help.routes import METHODS, body_of, filled, route_groups
from tests.test_docs import routes_of
from tests.web.conftest import Site

Json = dict[str, Any]
TYPES = {"object", "array", "string", "number", "integer", "boolean", "null"}
# OpenAPI 3.1.1, sections 4.8.10 (Operation Object), 4.8.12 (Parameter Object), 4.8.17 (Response Object)
OPERATION = {"tags", "summary", "description", "operationId", "parameters", "requestBody", "responses"}
PARAMETER = {"name", "in", "required", "schema", "description", "example"}


@pytest.fixture(scope="module")
def told(shown: Site) -> Json:
    answer = shown.client.get("/api/openapi.json").json()
    assert isinstance(answer, dict)
    return answer


def operations(told: Json) -> Iterator[tuple[str, str, Json]]:
    for path, item in told["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def test_every_route_of_the_interface_is_in_it(shown: Site, told: Json) -> None:
    """Also by its methods; left out are the document itself and the protocol of uploads, which has its own standard."""
    exist = {re.sub(r":\w+}", "}", path) for path in routes_of(shown.app.routes) if path.startswith("/api/")}
    assert exist - {"/api/openapi.json"} == set(told["paths"])
    assert len(exist) > 35


def test_the_document_is_openapi(told: Json) -> None:
    assert re.fullmatch(r"3\.1\.\d", told["openapi"])
    assert {"title", "version", "description"} <= set(told["info"])
    ids = [operation["operationId"] for _, _, operation in operations(told)]
    assert len(ids) == len(set(ids))
    for path, method, operation in operations(told):
        assert method in METHODS, path
        assert set(operation) <= OPERATION, (path, set(operation) - OPERATION)
        named = {one["name"] for one in operation.get("parameters", ()) if one["in"] == "path"}
        assert named == set(re.findall(r"{(\w+)}", path)), path
        for one in operation.get("parameters", ()):
            assert set(one) <= PARAMETER, (path, one)
            assert one["in"] in {"path", "query", "header", "cookie"}
            assert one["in"] != "path" or one["required"] is True
            check_schema(told, one["schema"], path)


def test_every_operation_says_what_it_does_answers_and_refuses(told: Json) -> None:
    for path, method, operation in operations(told):
        where = f"{method} {path}"
        assert operation["summary"], where
        assert operation["description"], where
        assert operation["tags"], where
        good = [code for code in operation["responses"] if code.startswith("2")]
        assert len(good) == 1, where
        answer = operation["responses"][good[0]]
        assert answer["description"], where
        for media in answer["content"].values():
            assert media["schema"], where
            check_schema(told, media["schema"], where)
        refusals = {code: one for code, one in operation["responses"].items() if code not in good}
        assert "422" in refusals, where
        for code, refusal in refusals.items():
            schema = refusal["content"]["application/json"]["schema"]
            assert schema == {"$ref": "#/components/schemas/Problem"}, (where, code)


def test_every_schema_is_whole(told: Json) -> None:
    schemas = told["components"]["schemas"]
    for name, schema in schemas.items():
        check_schema(told, schema, name)
    text = json.dumps(told)
    assert {name for name in schemas if f'"#/components/schemas/{name}"' in text} == set(schemas)
    assert not {"HTTPValidationError", "ValidationError"} & set(schemas)


def check_schema(told: Json, schema: Json, where: str) -> None:
    """JSON Schema 2020-12: references lead somewhere, types are types, what is required is described."""
    if "$ref" in schema:
        place: Any = told
        for part in schema["$ref"].removeprefix("#/").split("/"):
            assert part in place, (where, schema["$ref"])
            place = place[part]
        return
    if "type" in schema:
        assert schema["type"] in TYPES, (where, schema)
    assert set(schema.get("required", ())) <= set(schema.get("properties", {})), where
    inner = [*schema.get("properties", {}).values(), *schema.get("anyOf", ()), *schema.get("oneOf", ())]
    inner += [schema[key] for key in ("items", "additionalProperties") if isinstance(schema.get(key), dict)]
    for one in inner:
        check_schema(told, one, where)


def holds(told: Json, schema: Json, value: Any) -> str:
    """Why a value is not of a schema; empty where it is. The keywords that the document uses."""
    if "$ref" in schema:
        return holds(told, told["components"]["schemas"][schema["$ref"].rpartition("/")[2]], value)
    if "anyOf" in schema:
        reasons = [holds(told, one, value) for one in schema["anyOf"]]
        return "" if "" in reasons else "; ".join(reasons)
    if not of_type(schema.get("type"), value):
        return f"{value!r:.80} is no {schema['type']}"
    if isinstance(value, dict):
        return object_holds(told, schema, value)
    inner = [holds(told, schema.get("items", {}), one) for one in value] if isinstance(value, list) else []
    return next(filter(None, inner), "")


def of_type(wanted: str | None, value: Any) -> bool:
    kinds: dict[str | None, Any] = {"object": dict, "array": list, "string": str, "null": type(None)}
    kinds |= {"boolean": bool, "integer": int, "number": int | float, None: object}
    return isinstance(value, kinds[wanted]) and (wanted not in ("integer", "number") or not isinstance(value, bool))


def object_holds(told: Json, schema: Json, value: Json) -> str:
    known, more = schema.get("properties", {}), schema.get("additionalProperties")
    if missing := set(schema.get("required", ())) - set(value):
        return f"{missing} missing"
    if known and more is None and set(value) - set(known):
        return f"{set(value) - set(known)} not described"
    rest = more if isinstance(more, dict) else {}
    return next(filter(None, (holds(told, known.get(name, rest), one) for name, one in value.items())), "")


def test_the_check_of_answers_can_fail(told: Json) -> None:
    day = {"$ref": "#/components/schemas/Head"}
    assert holds(told, day, {"id": 1, "sha256": "0"}) == ""
    assert holds(told, day, {"id": "1", "sha256": "0"})
    assert holds(told, day, {"id": 1})
    assert holds(told, day, {"id": 1, "sha256": "0", "more": 1})


def test_answers_are_what_the_document_says(shown: Site, told: Json) -> None:
    """Every route that can be read, asked as its example does."""
    asked = 0
    for path, method, operation in operations(told):
        if method != "get":
            continue
        answer = shown.client.get(filled(path, operation))
        where = (path, answer.status_code, answer.text[:200])
        assert str(answer.status_code) in operation["responses"], where
        media = operation["responses"][str(answer.status_code)]["content"]
        kind = answer.headers["content-type"]
        assert kind.partition(";")[0] in {name.partition(";")[0] for name in media}, where
        if kind.startswith("application/json"):
            schema = media["application/json"]["schema"]
            assert holds(told, schema, answer.json()) == "", where
            asked += answer.status_code == 200
    assert asked > 12


def test_every_example_of_a_write_is_understood(site: Site) -> None:
    """On an empty archive nothing is there to be changed, which is another refusal than a body that is wrong."""
    told = document(site.app)
    with httpx.Client(base_url=site.client.base_url, headers={"X-Stillair-Who": "Ana"}) as program:
        for path, method, operation in operations(told):
            if method == "get":
                continue
            kind, body = body_of(operation, told)
            content = json.dumps(body).encode() if kind == "application/json" else b"PK"
            answer = program.request(
                method, filled(path, operation), content=content, headers={"Content-Type": kind}
            )
            where = (method, path, answer.status_code, answer.text)
            assert answer.status_code in (201, 202, 404, 422), where
            assert not re.search("“|The body", answer.text), where


def test_the_help_shows_every_route_with_a_line_for_a_shell(shown: Site, told: Json) -> None:
    page = shown.client.get("/help/api").text
    for path, method, operation in operations(told):
        assert f"<code>{method.upper()} {path}</code>" in page
        assert operation["summary"].split("’")[0].split("'")[0] in page
    lines = [line for _, group in route_groups(told) for line in group]
    assert len(lines) == sum(len(item) for item in told["paths"].values())
    assert all(line.example.startswith("curl ") and "127.0.0.1" in line.example for line in lines)
    assert "://127.0.0.1" in page
    assert "{" not in "".join(line.example for line in lines if line.method == "GET")
