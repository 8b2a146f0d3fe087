"""History and the list of work."""

from __future__ import annotations

import re
from typing import Any

import httpx
import pytest
from sqlalchemy import select

from server.archive.events import record
from server.archive.jobs import add_job
from server.archive.tables import Event, Job
from server.history.event_objects import objects_of
from server.history.objects import OBJECTS
from server.locations import PACKAGE
from tests.web.conftest import Site


def test_events_stand_with_who_when_why_and_their_seal(site: Site) -> None:
    with site.app.state.archive.database.writing() as session:
        event = record(
            session, who="<b>Ana</b>", kind="run-moved", subject="run 3", before="A", after={"value": "B"}, reason="<i>"
        )
        seal = event.sha256[:12]
    text = site.client.get("/history").text
    for words in ("&lt;b&gt;Ana&lt;/b&gt;", "run moved:", ">run 3</a>", "A → value B", "&lt;i&gt;", seal):
        assert words in text
    assert "<b>Ana" not in text
    assert "All 1 events stand as they were sealed" in site.client.get("/history?check=true").text


def test_events_are_chosen_and_paged(site: Site) -> None:
    with site.app.state.archive.database.writing() as session:
        for number in range(60):
            record(session, who="Ana" if number % 2 else "Bo", kind="run-moved", subject=f"run {number};")
    assert "run 3;" not in (text := site.client.get("/history").text)
    assert "Older" in text
    assert "run 3;" in site.client.get("/history?page=2").text
    bo = site.client.get("/history?who=Bo").text
    assert "run 58;" in bo
    assert "run 59;" not in bo
    assert "Nothing of this kind" in site.client.get("/history?day=7").text
    assert site.client.get("/history?page=0").status_code == 422


def test_history_of_a_day_has_its_revisions(shown: Site) -> None:
    text = shown.client.get("/days/1/history").text
    assert "Revisions" in text
    assert "Long &lt;b&gt;apron&lt;/b&gt;" in text
    assert "not fitted" not in text
    assert shown.client.get("/days/77/history").status_code == 404


@pytest.mark.parametrize("state", ["queued", "done"])
def test_work_is_called_off_while_it_is_open(site: Site, state: str) -> None:
    with site.app.state.archive.database.writing() as session:  # the lane "long" of a kind that no runner has
        add_job(session, "fit-day", "<b>a day</b>", {}, "j1", lane="long").state = state
    assert "&lt;b&gt;a day&lt;/b&gt;" in site.client.get("/jobs").text
    answer = site.client.post("/jobs/j1/cancel")
    assert (answer.status_code, answer.headers["location"]) == (303, "/jobs")
    with site.app.state.archive.database.reading() as session:
        found = session.scalar(select(Job.state))
    assert found in ({"done"} if state == "done" else {"cancelled", "failed"})
    assert site.client.post("/jobs/none/cancel").status_code == 404


def told(client: httpx.Client, **asked: object) -> list[str]:
    return [f"{one['kind']} {one['subject']}" for one in client.get("/api/events", params=asked).json()["events"]]


def record_some(site: Site) -> None:
    """Events as the product records them of runs, setups, results, photos, accounts and files, of two days."""
    lines: list[tuple[str, str, int | None, Any, Any]] = [
        ("runs-added", "runs 3, 14", 1, None, {"value": [{"run": 3, "setup": "A"}, {"run": 14, "setup": "B"}]}),
        ("run-moved", "run 3", 1, "A", {"value": "B"}),
        ("pass-edited", "run 3, pass 1.0 to 2.0 s", 1, None, {}),
        ("role-assigned", "columns of run 3", 1, {}, {}),
        ("run-changed", "run 31", 1, {}, {}),
        ("run-changed", "run 3", 2, {}, {}),
        ("setup-revised", "setup B", 1, {}, {}),
        ("setup-revised", "setup B 2", 1, {}, {}),
        ("verdict-decided", "SCx of B against A", 1, None, {}),
        ("day-fitted", "revision 2", 1, {"result": 1}, {"result": 12, "moved": []}),
        ("day-fitted", "revision 3", 1, {"result": 12, "moved": []}, {"result": 120}),
        ("tuft-photo-added", "nose.jpg", 1, None, {"rows": [{"id": 5, "name": "nose.jpg"}]}),
        ("tuft-marked", "photo 5 (nose.jpg)", 1, None, {"rows": [{"photo_id": 5, "id": 55}]}),
        ("tuft-marked", "photo 55 (x.jpg)", 1, None, {"rows": [{"photo_id": 55, "id": 5}]}),
        ("account-role", "Ana", None, {"role": "reader"}, {"role": "lead"}),
        ("token-made", "robot", None, None, {"token": 1}),
        ("margins-changed", "margins of Wisp 5", None, {}, {}),
        ("car-changed", "car: mass", 1, 1, 2),
        ("file-received", "100%_a.csv", None, None, {"sha256": "ab" * 32}),
    ]
    with site.app.state.archive.database.writing() as session:
        for kind, subject, day_id, before, after in lines:
            record(session, who="Ana", kind=kind, subject=subject, day_id=day_id, before=before, after=after)


ABOUT = [
    ({"about": "run", "name": "3", "day_id": 1},
     ["runs-added runs 3, 14", "run-moved run 3", "pass-edited run 3, pass 1.0 to 2.0 s",
      "role-assigned columns of run 3"]),
    ({"about": "run", "name": "4"}, []),
    ({"about": "run", "name": "14"}, ["runs-added runs 3, 14"]),
    ({"about": "setup", "name": "B"},
     ["runs-added runs 3, 14", "run-moved run 3", "setup-revised setup B", "verdict-decided SCx of B against A"]),
    ({"about": "result", "name": "12"}, ["day-fitted revision 2", "day-fitted revision 3"]),
    ({"about": "photo", "name": "5"}, ["tuft-photo-added nose.jpg", "tuft-marked photo 5 (nose.jpg)"]),
    ({"about": "photo", "name": "nose.jpg"}, ["tuft-photo-added nose.jpg", "tuft-marked photo 5 (nose.jpg)"]),
    ({"about": "account", "name": "Ana"}, ["account-role Ana", "token-made robot"]),
    ({"about": "car", "name": "Wisp 5"}, ["margins-changed margins of Wisp 5"]),
    ({"about": "car", "kind": "car-changed"}, ["car-changed car: mass"]),
    ({"about": "file", "name": "100%_a.csv"}, ["file-received 100%_a.csv"]),
    ({"about": "file", "name": "100__a.csv"}, []),
    ({"about": "file", "name": "ab" * 32}, ["file-received 100%_a.csv"]),
    ({"about": "run", "who": "Bo"}, []),
]  # fmt: skip


def test_events_are_chosen_by_what_they_are_about(site: Site) -> None:
    """By the JSON route, by the form's fields on the page, and by the link that each event has."""
    record_some(site)
    for asked, expected in ABOUT:
        assert told(site.client, **asked) == expected, asked
    page = site.client.get("/history?about=run&name=3&who=Ana&day=1").text
    assert "4 events about run 3, of day 1, by Ana" in page
    assert '<option value="run" selected>' in page
    assert 'value="3"' in page
    assert "no event about result 7" in site.client.get("/history?about=result&name=7").text
    assert "Nothing of this kind" in site.client.get("/history?about=nothing").text
    assert site.client.get("/api/events?about=nothing").status_code == 422
    with site.app.state.archive.database.reading() as session:
        events = list(session.scalars(select(Event)))
    links = [(event.id, one) for event in events for one in objects_of(event)]
    assert len(links) >= 17
    for number, (about, name) in links:
        answer = site.client.get("/api/events", params={"about": about, "name": name}).json()
        assert number in [one["id"] for one in answer["events"]], (about, name)
    assert "/history?about=account&amp;name=Ana" in site.client.get("/history").text


def test_every_kind_of_event_is_about_something() -> None:
    """Slugs that the program gives events, as they stand in its files."""
    known = {kind for one in OBJECTS.values() for kind in one.events}
    given = set()
    for file in (PACKAGE).rglob("*.py"):
        text = file.read_text("utf-8")
        given |= set(re.findall(r'\bkind="([a-z]+(?:-[a-z]+)+)"', text)) if "record(" in text else set()
        given |= set(re.findall(r'Change\([^"]*?"([a-z]+(?:-[a-z]+)+)"', text))
    assert len(given) > 15
    assert given - known == set()


def test_long_histories_have_their_ends(site: Site) -> None:
    with site.app.state.archive.database.writing() as session:
        for number in range(120):
            record(session, who="Ana", kind="run-changed", subject=f"run {number};")
    first = site.client.get("/history?about=run").text
    assert "page 1 of 3" in first
    assert "page=3" in first
    assert "Newest" not in first
    last = site.client.get("/history?about=run&page=3").text
    assert "run 0;" in last
    assert "Oldest" not in last
    assert 'href="/history?about=run"' in last
