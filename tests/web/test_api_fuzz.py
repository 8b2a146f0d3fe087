"""Whatever a program sends to a route that writes: a refusal, never a mistake of the program, and nothing changed."""

from __future__ import annotations

import copy
import json
import math
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.app import create_app
from server.archive.read_only import ReadOnlyArchive
from server.help.api import document
from server.help.routes import body_of, filled
from server.history.verify import faults
from server.settings import Settings
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import SMALL_DAY, client_of, keep_made_up

NAN = float("nan")
SCALARS = st.one_of(
    *(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20)),
    *(st.sampled_from(["", "0", "1e5", "NaN", "\x00", "\ud800", "−1", 10**40, -(10**40), 1e308, -1e308, NAN, 2**63]),),
)
ANY_JSON = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=8,
)
NO_OBJECT = st.one_of(SCALARS, st.lists(ANY_JSON, max_size=3))
PARTS = st.sampled_from(
    [
        *("0", "-1", "x", "99999999999999999999", "1.5", "%00", "%ED%A0%80", "NaN", "1e3", "%C2%B2", "true"),
        *("setup.9", "weather.0", "run.x", "calibration.nothing", "'; DROP TABLE events; --"),
    ]
)
MANY = settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Two days of one car."""
    folder = tmp_path_factory.mktemp("fuzzed")
    app = create_app(Settings(data_folder=folder / "data", upload_limit_mb=1.0), KINDS)
    with client_of(app) as client:
        for name in ("one", "two"):
            toml = SMALL_DAY.replace("Long apron", name)
            keep_made_up(app.state.archive, made_up_day_result("AB"), folder / name, name, toml)
        yield Site(app, client, folder / "data")


@pytest.fixture(scope="module")
def program(site: Site) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=site.client.base_url, headers={"X-Stillair-Who": "Ana"}, timeout=60) as client:
        yield client


def writes() -> list[tuple[str, str]]:
    """Method and path of every route under /api that writes."""
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Settings(data_folder=Path(folder)), KINDS)
        app.state.archive.close()
        paths = document(app)["paths"]
    return [(method, path) for path, item in paths.items() for method in item if method != "get"]


WRITES = writes()


def state_of(client: httpx.Client) -> tuple[Any, int]:
    return client.get("/api/events/head").json(), len(client.get("/api/jobs").json())


def archive_faults(site: Site) -> list[str]:
    archive = ReadOnlyArchive(site.folder)
    try:
        return list(faults(archive))
    finally:
        archive.close()


def send(client: httpx.Client, method: str, path: str, body: Any, kind: str = "application/json") -> httpx.Response:
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.request(method, path, content=content, headers={"Content-Type": kind})


def refused(answer: httpx.Response, *sent: Any) -> None:
    assert 400 <= answer.status_code < 500, (sent, answer.status_code, answer.text)
    assert set(answer.json()) == {"error"}, sent
    sentence = answer.json()["error"]
    assert sentence, sent
    assert "Traceback" not in sentence


def test_there_is_something_to_try() -> None:
    assert len(WRITES) >= 13
    assert ("patch", "/api/days/{day_id}/car/{slug}") in WRITES


@pytest.mark.parametrize(("method", "path"), WRITES)
def test_a_body_that_is_no_object(site: Site, program: httpx.Client, method: str, path: str) -> None:
    operation = document(site.app)["paths"][path][method]
    kind, _ = body_of(operation, document(site.app))
    if path.endswith(("/cancel", "/uploads")):
        return  # one sends nothing, and there is no job of that name; the other takes any bytes
    before = state_of(program)

    @MANY
    @given(NO_OBJECT)
    def tried(body: Any) -> None:
        refused(send(program, method, filled(path, operation), body, kind), path, body)

    tried()
    assert state_of(program) == before


@pytest.mark.parametrize(("method", "path"), WRITES)
def test_a_field_of_another_type_or_name(site: Site, program: httpx.Client, method: str, path: str) -> None:
    told = document(site.app)
    operation = told["paths"][path][method]
    kind, example = body_of(operation, told)
    if kind != "application/json" or "requestBody" not in operation:
        return
    before = state_of(program)
    reference = operation["requestBody"]["content"]["application/json"]["schema"]["$ref"]
    properties = told["components"]["schemas"][reference.rpartition("/")[2]].get("properties", {})

    @MANY
    @given(st.data())
    def tried(data: st.DataObject) -> None:
        name = data.draw(st.sampled_from([*properties, "unknown", "__class__", ""]))
        body = copy.deepcopy(example)
        body[name] = data.draw(wrong_for(properties.get(name)))
        refused(send(program, method, filled(path, operation), body), path, body)

    tried()
    assert state_of(program) == before


def wrong_for(schema: dict[str, Any] | None) -> st.SearchStrategy[Any]:
    """What is not of a field's type; anything for a field that is not known."""
    if schema is None:
        return ANY_JSON
    kinds = {one.get("type") for one in schema.get("anyOf", [schema])}
    apart = {
        "string": lambda v: isinstance(v, str),
        "boolean": lambda v: isinstance(v, bool),
        "null": lambda v: v is None,
        "array": lambda v: isinstance(v, list),
        "object": lambda v: isinstance(v, dict),
        "integer": lambda v: isinstance(v, int) and not isinstance(v, bool),
        "number": lambda v: isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v),
    }
    return ANY_JSON.filter(lambda value: not any(apart[kind](value) for kind in kinds if kind))


FORMS = ("mass_kg", "corners", "driven", "name", "day", "venue", "weather.1", "weather", "setup.1", "setup", "run.1")
TABLES = ("front.heave_table", "rear.motion_ratio_table", "front.wheel_rate_rel_u", "front.spring_rate_n_per_m")


@pytest.mark.parametrize("slug", [*FORMS, *TABLES, "calibration"])
def test_fields_of_a_form(program: httpx.Client, slug: str) -> None:
    """Any values in the fields of a form: kept as a revision that can be read, or refused; never a mistake."""
    fields = program.get(f"/api/days/2/car/{slug}").json()["fields"]
    names = [name for field in fields for name in field["values"]]

    @settings(MANY, max_examples=15)
    @given(st.dictionaries(st.sampled_from(names), SCALARS, min_size=1))
    def tried(values: dict[str, Any]) -> None:
        before = state_of(program)[0]
        answer = send(program, "PATCH", f"/api/days/2/car/{slug}", {"fields": values})
        if answer.status_code == 200:
            assert program.get("/api/days/2/revisions/newest").status_code == 200, values
            assert program.get("/days/2/car").status_code == 200, values
        else:
            refused(answer, slug, values)
            assert state_of(program)[0] == before, values

    tried()


@pytest.mark.parametrize(("method", "path"), [one for one in WRITES if "{" in one[1]])
def test_parts_of_an_address(site: Site, program: httpx.Client, method: str, path: str) -> None:
    told = document(site.app)
    operation = told["paths"][path][method]
    _, example = body_of(operation, told)
    parts = [one["name"] for one in operation["parameters"] if one["in"] == "path"]
    before = state_of(program)

    @MANY
    @given(st.sampled_from(parts), PARTS)
    def tried(part: str, value: str) -> None:
        there = path.replace(f"{{{part}}}", value)
        refused(send(program, method, filled(there, operation), example), there)

    tried()
    assert state_of(program) == before


def test_afterwards_the_archive_is_as_it_was_kept(site: Site) -> None:
    assert archive_faults(site) == []
