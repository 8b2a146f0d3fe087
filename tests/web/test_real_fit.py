"""The product's own reading and fit behind the pages: nothing stands in."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from server.app import create_app
from server.locations import sample_day_folders
from server.settings import Settings
from tests.web.serving import client_of, wait_for

FIT_S = 240
DAYS = {folder.name: folder for folder in sample_day_folders()}
SHAKEDOWN = next((folder for name, folder in DAYS.items() if "shakedown" in name), None)
pytestmark = pytest.mark.skipif(SHAKEDOWN is None, reason="the sample days are not there")


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    with client_of(create_app(Settings(data_folder=tmp_path_factory.mktemp("data")))) as made:
        yield made


def ended(client: httpx.Client, answer: httpx.Response, seen: list[str] | None = None) -> httpx.Response:
    """The last page of a job; seen: gains all pages before it."""
    assert answer.status_code == 303, answer.text

    def page() -> httpx.Response | None:
        shown = client.get(answer.headers["location"])
        if seen is not None:
            seen.append(shown.text)
        return shown if shown.status_code == 303 or "job-failed" in shown.text else None

    return wait_for(page, FIT_S)


def zipped(folder: Path, **changed: str) -> bytes:
    """A day folder as a zip, with some text of its testday.toml changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for file in sorted(folder.rglob("*")):
            content = file.read_bytes() if file.is_file() else b""
            if file.name == "testday.toml":
                text = content.decode()
                for old, new in changed.items():
                    assert old in text
                    text = text.replace(old, new)
                content = text.encode()
            if file.is_file():
                archive.writestr(f"{folder.name}/{file.relative_to(folder)}", content)
    return out.getvalue()


def test_typed_logs_become_areas(client: httpx.Client) -> None:
    assert SHAKEDOWN is not None
    logs = sorted((SHAKEDOWN / "logs").glob("*.csv"))
    form = {"mass": "236", "driver_mass": "72", "pressure": "1009", "temperature": "17", "humidity": "55"}
    form |= {"reference_speed": "79.2", "coasting": "neutral", "heading": "", "name": "typed"}
    answer = client.post(
        "/add/logs",
        data={**form, "log_setup": ["A"] * len(logs), "log_direction": [""] * len(logs)},
        files=[("log", (log.name, log.read_bytes())) for log in logs],
    )
    page = ended(client, answer)
    assert page.status_code == 303, page.text
    text = client.get(page.headers["location"]).text
    assert "SCx <b" in text
    assert "a default, because nothing was given" in text


def test_a_zip_becomes_areas_and_its_parts_can_be_opened(client: httpx.Client) -> None:
    assert SHAKEDOWN is not None
    seen: list[str] = []
    page = ended(client, client.post("/add/folder", files={"day_zip": ("day.zip", zipped(SHAKEDOWN))}), seen)
    assert any("Early estimate, before the fit has ended" in one for one in seen)
    day = page.headers["location"]
    top = day.removesuffix("/result")
    assert "SCx <b" in client.get(day).text
    for part in ("passes", "each-pass", "budget", "innovations", "intervals", "inputs", "files"):
        assert client.get(f"{day}/{part}").status_code == 200
    for name in ("passes", "forest", "innovations", "budget", "comparisons", "two-methods"):
        assert client.get(f"{top}/figures/{name}.json").status_code == 200
        assert client.get(f"{top}/figures/{name}.csv").status_code == 200


def test_a_wrong_folder_is_one_sentence(client: httpx.Client) -> None:
    assert SHAKEDOWN is not None
    content = zipped(SHAKEDOWN, **{"mass_kg = ": "mass_kg = 0 # "})
    page = ended(client, client.post("/add/folder", files={"day_zip": ("day.zip", content)}))
    assert "testday.toml" in page.text
    assert "mass_kg" in page.text
    assert "made a mistake" not in page.text
