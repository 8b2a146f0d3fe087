from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from server.app import create_app
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up


@dataclass(frozen=True)
class Site:
    app: FastAPI
    client: httpx.Client
    folder: Path


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """An empty archive, served."""
    app = create_app(Settings(data_folder=tmp_path / "data", upload_limit_mb=1.0), KINDS)
    with client_of(app) as client:
        yield Site(app, client, tmp_path / "data")


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """An archive with two made-up days, served; for tests that only read."""
    folder = tmp_path_factory.mktemp("shown")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        keep_made_up(app.state.archive, made_up_day_result("AB"), folder / "one", "Long <b>apron</b>")
        keep_made_up(app.state.archive, made_up_day_result("ABC", seed=3), folder / "two", "Second day")
        yield Site(app, client, folder / "data")
