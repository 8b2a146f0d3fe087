"""Addresses on pages: the router's own, looked up once, with what people typed in them as text."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote

import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from starlette.routing import NoMatchFound, Route

from server.app import create_app
from server.settings import Settings
from server.templating import Addresses


def nothing() -> None:
    """A page."""


@pytest.fixture
def app() -> FastAPI:
    made = FastAPI()
    made.get("/days/{day_id}/car/{slug}", name="car_form")(nothing)
    made.get("/files/{path:path}", name="file")(nothing)
    made.get("/days", name="days")(nothing)
    return made


def test_they_are_the_routers_own(app: FastAPI) -> None:
    addresses = Addresses(app)
    for _ in range(2):
        assert addresses("days") == "/days"
        assert addresses("car_form", day_id=7, slug="mass_kg") == "/days/7/car/mass_kg"
        assert addresses("car_form", slug="setup.B", day_id="8") == "/days/8/car/setup.B"
        assert addresses("file", path="a/b.css") == "/files/a/b.css"


@pytest.mark.parametrize("name", ["A?x=1", "A#b", "50 %", "A&B", '"><b>', "é 前", "..", "a\0slug\0"])
def test_a_name_stays_one_part_of_the_address(app: FastAPI, name: str) -> None:
    address = Addresses(app)("car_form", day_id=1, slug=f"setup.{name}")
    assert unquote(address) == f"/days/1/car/setup.{name}"
    assert not set(address) & set('?#"<> ') or "\0" in name


def test_what_no_route_takes_is_refused(app: FastAPI) -> None:
    addresses = Addresses(app)
    with pytest.raises(NoMatchFound):
        addresses("car_form", day_id=1)
    with pytest.raises(NoMatchFound):
        addresses("nobody")
    with pytest.raises(AssertionError):
        addresses("car_form", day_id=1, slug="a/b")


def test_the_table_of_routes_gives_what_the_frameworks_own_look_up_gives(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path))
    routes = [route for route in iter_route_contexts(app.routes) if isinstance(route.original_route, Route)]
    assert len(routes) > 200
    for route in routes:
        parts = dict.fromkeys(re.findall(r"{(\w+)", route.path), "7")
        assert app.url_path_for(route.name, **parts) == FastAPI.url_path_for(app, route.name, **parts)
    with pytest.raises(NoMatchFound):
        app.url_path_for("nobody")
