"""History and the list of work."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from server.archive.events import record
from server.archive.jobs import add_job
from server.archive.tables import Job
from tests.web.conftest import Site


def test_events_stand_with_who_when_why_and_their_seal(site: Site) -> None:
    with site.app.state.archive.database.writing() as session:
        event = record(
            session, who="<b>Ana</b>", kind="run-moved", subject="run 3", before="A", after={"value": "B"}, reason="<i>"
        )
        seal = event.sha256[:12]
    text = site.client.get("/history").text
    for words in ("&lt;b&gt;Ana&lt;/b&gt;", "run moved: run 3", "A → value B", "&lt;i&gt;", seal):
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
