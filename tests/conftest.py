"""What all tests share: where compiled loops are kept, how drawn examples repeat, and which tests need a browser."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

from server.locations import default_data_folder, use_numba_cache

if TYPE_CHECKING:
    from server.archive.archive import Archive
    from tests.postgres import Cluster

use_numba_cache(default_data_folder())

# The checks draw the same examples every time, in whatever time the machine has. New ones: --hypothesis-profile=new
ANY_TIME = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("same", ANY_TIME, derandomize=True)
settings.register_profile("new", ANY_TIME, print_blob=True)
settings.load_profile("same")

BROWSER_REQUIRED = "STILLAIR_TESTS_REQUIRE_BROWSER"
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")


def missing_browser() -> str:
    """Why browser tests cannot run here, '' when they can."""
    if not any(map(shutil.which, BROWSERS)):
        return "Chromium is not installed (Debian: chromium)"
    if not shutil.which("chromedriver"):
        return "Chromium's driver is not installed (Debian: chromium-driver)"
    return ""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests under tests/browser need the browser without saying so."""
    for item in items:
        if "browser" in item.path.relative_to(item.config.rootpath).parts:
            item.add_marker(pytest.mark.browser)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a browser test with the reason, or fail it where the browser is required."""
    reason = missing_browser() if item.get_closest_marker("browser") else ""
    if reason and os.environ.get(BROWSER_REQUIRED):
        pytest.fail(f"{reason}, but {BROWSER_REQUIRED} is set", pytrace=False)
    if reason:
        pytest.skip(reason)


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    """An open archive of its own for each test."""
    from server.archive.archive import Archive

    made = Archive(tmp_path / "data")
    made.open()
    yield made
    made.close()


@pytest.fixture(scope="session")
def postgres() -> Iterator[Cluster]:
    """A PostgreSQL server of the tests' own; without one the test is skipped, or fails where it is required."""
    from tests.postgres import POSTGRES_REQUIRED, Cluster, missing_postgres

    reason = missing_postgres()
    if reason and os.environ.get(POSTGRES_REQUIRED):
        pytest.fail(f"{reason}, but {POSTGRES_REQUIRED} is set", pytrace=False)
    if reason:
        pytest.skip(reason)
    cluster = Cluster()
    yield cluster
    cluster.stop()


@pytest.fixture(params=["sqlite", "postgresql"])
def engine(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """The test runs twice: with the archive's database in the data folder, and in a new PostgreSQL database.

    A test that makes archives in several folders names another database before each.
    """
    name: str = request.param
    if name == "postgresql":
        monkeypatch.setenv("STILLAIR_DATABASE", request.getfixturevalue("postgres").new_database())
    return name
