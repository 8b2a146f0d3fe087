"""A day is planned through its pages: asked for, simulated, kept, printed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from server.app import create_app
from server.plans.plan_job import PLAN_KINDS
from server.settings import Settings
from tests.results.test_compare_pages import DAY
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up, wait_for

FORM = {
    "name": "Flap <b>day</b>",
    "baseline": "A",
    "setup": ["B", ""],
    "u95": ["0.06", ""],
    "turned": ["flap up 4°", ""],
}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    folder: Path = tmp_path_factory.mktemp("planned")
    with client_of(create_app(Settings(data_folder=folder / "data"), PLAN_KINDS)) as client:
        yield client


def words(answer: httpx.Response, status: int = 200) -> str:
    assert answer.status_code == status
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


@pytest.fixture(scope="module")
def planned(client: httpx.Client) -> str:
    """The address of a plan that was made."""
    sent = client.post("/plans", data=FORM)
    assert sent.status_code == 303
    return str(wait_for(lambda: _outcome(client, sent.headers["location"]), 120.0))


def _outcome(client: httpx.Client, job: str) -> str:
    """Where the job's page leads when the work is done; empty before."""
    answer = client.get(job)
    assert "job-failed" not in answer.text, answer.text
    return str(answer.headers.get("location", ""))


def test_a_straight_too_short_for_a_day_like_an_earlier_one_is_said_at_once(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path / "data"), PLAN_KINDS)
    with client_of(app) as client:
        day = keep_made_up(app.state.archive, made_up_day_result("AB"), tmp_path / "day", "Flap day", DAY)
        text = words(client.post("/plans", data=FORM | {"like": str(day), "length_m": "300"}), 422)
        assert re.search(r"The straight of 300 m is \d+ m too short for these speeds", text)
        assert client.post("/plans", data=FORM | {"like": str(day)}).status_code == 303


def test_without_a_plan_the_page_teaches(tmp_path: Path) -> None:
    with client_of(create_app(Settings(data_folder=tmp_path / "data"), PLAN_KINDS)) as empty:
        assert "No plan yet." in words(empty.get("/plans"))
        assert empty.get("/plans/1").status_code == 404


def test_a_plan_says_its_passes_order_straight_and_winds(client: httpx.Client, planned: str) -> None:
    text = words(client.get(planned))
    assert re.search(r"\d+ pairs? of coast-downs of each change and \d+ of the baseline, 3 outings from 09:00 to", text)
    assert "reach every wanted interval" in text
    assert "flap up 4°" in text
    assert "left of the straight" in text
    assert "a made-up student car" in text
    assert "&lt;b&gt;day" in client.get(planned).text


def test_the_sheet_has_a_box_for_every_coast_down(client: httpx.Client, planned: str) -> None:
    page = client.get(f"{planned}/sheet").text
    pairs = [int(n) for n in re.findall(r"pair (\d+), out", page)]
    assert page.count(", back\"") == len(pairs) >= 3
    for said in ("Emergency number", "Stop at once", "brake whenever you want to", "qualified people"):
        assert said in page


@pytest.mark.usefixtures("planned")
def test_the_plan_stands_in_the_history(client: httpx.Client) -> None:
    events = client.get("/api/events").json()
    kinds = [one["kind"] for one in (events if isinstance(events, list) else events["events"])]
    assert "day-planned" in kinds


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"length_m": "250"}, "too short for these speeds"),
        ({"u95": ["wide", ""]}, "must be a number, not “wide”"),
        ({"setup": ["A", ""]}, "the same name"),
        ({"setup": ["", ""], "u95": ["", ""], "turned": ["", ""]}, "at least one change"),
        ({"like": "77"}, "no test day number 77"),
    ],
)
def test_a_refusal_stands_above_what_was_typed(client: httpx.Client, other: dict[str, object], said: str) -> None:
    text = client.post("/plans", data=FORM | {"start": "10:15"} | other)
    assert said in words(text, 422)
    assert 'value="10:15"' in text.text
