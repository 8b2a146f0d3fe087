"""Entries of tablets: kept once whatever the network does, refused only by what others changed of the same things."""

from __future__ import annotations

import contextlib
import itertools
import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import func, select

from server.archive import entries
from server.archive.entries import Entry, current_entry
from server.archive.events import chain_faults, record
from server.archive.tables import Event, Job, KeptEntry
from server.days.tables import DayRevision
from server.errors import ArchiveBusyError
from server.live import entries_api
from tests.ratios import settled
from tests.web.conftest import Site
from tests.web.day_site import day_site, newest

numbers = itertools.count(1)
TABLET, OTHER = "0123456789abcdef", "fedcba9876543210"
NOTES, FACTS = "/days/1/runs/{}/notes", "/days/1/change/run.{}"


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with day_site(tmp_path) as made:
        yield made


def entry_id(tablet: str = TABLET) -> str:
    return f"{tablet}-{next(numbers):016x}"


def send(
    site: Site, path: str, data: dict[str, Any], entry: str, *, age_s: float = 0.0, who: str = ""
) -> httpx.Response:
    headers = {"X-Stillair-Entry": entry, "X-Stillair-Entry-Age": str(age_s)} | ({"X-Stillair-Who": who} if who else {})
    return site.client.post(path, data=data, headers=headers, follow_redirects=False)


def notes(text: str, revision: int = 1) -> dict[str, Any]:
    return {"revision": revision, "notes": text}


def facts(site: Site, run: int, revision: int, **other: str) -> dict[str, Any]:
    """The form about a run as it stands, with something else typed."""
    found = newest(site)[1].runs[run - 1]
    start = "09:20:00" if run == 1 else "09:41:00"
    stands = {"setup": found.setup, "start": start, "driver": "72", "coasting": "neutral"}
    return {"revision": revision, **stands, "notes": found.notes, **other}


def counts(site: Site) -> tuple[int | None, ...]:
    with site.app.state.archive.database.reading() as session:
        tables = (Event, DayRevision, Job, KeptEntry)
        return tuple(session.scalar(select(func.count()).select_from(table)) for table in tables)


def last_event(site: Site, kind: str) -> Event:
    with site.app.state.archive.database.reading() as session:
        found = session.scalars(select(Event).where(Event.kind == kind).order_by(Event.id.desc())).first()
        assert found is not None
        session.expunge(found)
        assert not list(chain_faults(session))
        return found


def test_an_entry_is_kept_once_however_often_it_is_sent(site: Site) -> None:
    name = entry_id()
    first = send(site, NOTES.format(1), notes("windy at the far end"), name, who="Ad%C3%A1")
    assert (first.status_code, first.json()["kept"], first.json()["location"]) == (200, True, "/days/1/runs/1")
    before, (_, day, _) = counts(site), newest(site)
    assert day.runs[0].notes == "windy at the far end"
    assert last_event(site, "run-changed").who == "Adá"
    for _ in range(3):
        again = send(site, NOTES.format(1), notes("windy at the far end"), name)
        assert (again.status_code, again.json()["event"]) == (200, first.json()["event"])
    assert counts(site)[1:] == before[1:]


def test_twice_at_once_is_once(site: Site) -> None:
    name, answers = entry_id(), []
    gate = threading.Barrier(4)

    def one() -> None:
        gate.wait()
        answers.append(send(site, NOTES.format(2), notes("both"), name).json())

    threads = [threading.Thread(target=one) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.get("kept") for answer in answers] == [True] * 4
    assert newest(site)[0] == 2


def test_the_id_goes_with_the_write_or_not_at_all(site: Site) -> None:
    """A server that dies before the commit has kept neither; after it, both."""
    archive, name = site.app.state.archive, entry_id()
    token = current_entry.set(Entry(name, TABLET, entries.now_utc()))
    try:
        with contextlib.suppress(RuntimeError), archive.database.writing() as session:
            record(session, who="Ada", kind="test", subject="what is lost")
            assert session.get(KeptEntry, name) is not None
            raise RuntimeError("dies")
        with archive.database.reading() as session:
            assert session.get(KeptEntry, name) is None
        with archive.database.writing() as session:
            number = record(session, who="Ada", kind="test", subject="what is kept").id
        with archive.database.reading() as session:
            assert session.get_one(KeptEntry, name).event_id == number
    finally:
        current_entry.reset(token)


def test_an_entry_that_was_refused_is_not_taken_for_kept(site: Site) -> None:
    name = entry_id()
    wrong = send(site, FACTS.format(1), facts(site, 1, 1, start="quarter to ten"), name)
    assert wrong.status_code == 422
    assert "quarter to ten" in wrong.text
    right = send(site, FACTS.format(1), facts(site, 1, 1, start="09:45"), name)
    assert (right.status_code, right.json()["kept"]) == (200, True)


def test_one_tablet_sends_what_it_kept_though_each_entry_moves_the_day_on(site: Site) -> None:
    """All were typed from revision 1: the second of run 1 was typed over the first."""
    for path, data in (
        (FACTS.format(1), facts(site, 1, 1, driver="75")),
        (NOTES.format(2), notes("gusts")),
        (FACTS.format(1), facts(site, 1, 1, driver="75", direction="out")),
        (NOTES.format(2), notes("gusts, then calm")),
    ):
        assert send(site, path, data, entry_id()).json().get("kept"), path
    number, day, _ = newest(site)
    assert number == 5
    first, second = day.runs
    assert (first.driver_mass_kg.value, first.direction, second.notes) == (75, "out", "gusts, then calm")


def test_what_others_changed_elsewhere_forbids_nothing_and_the_same_thing_is_a_conflict(site: Site) -> None:
    site.client.post(NOTES.format(2), data=notes("from the other tablet"))
    assert send(site, NOTES.format(1), notes("mine"), entry_id()).json()["kept"]
    name = entry_id()
    clash = send(site, NOTES.format(2), notes("mine, too", revision=1), name)
    assert (clash.status_code, clash.json()["revision"]) == (409, 3)
    assert newest(site)[1].runs[1].notes == "from the other tablet"
    assert send(site, NOTES.format(2), notes("mine, too", revision=3), name).json()["kept"], "sent again by a person"
    assert newest(site)[1].runs[1].notes == "mine, too"


def test_a_form_that_would_put_back_what_another_tablet_changed_is_a_conflict(site: Site) -> None:
    old = facts(site, 1, 1, notes="mine")
    assert send(site, FACTS.format(1), facts(site, 1, 1, driver="80"), entry_id(OTHER)).json()["kept"]
    assert send(site, FACTS.format(1), old, entry_id()).status_code == 409
    assert newest(site)[1].runs[0].driver_mass_kg.value == 80


def test_a_late_entry_tells_when_it_was_made_and_a_prompt_one_does_not(site: Site) -> None:
    send(site, NOTES.format(1), notes("prompt"), entry_id(), age_s=0.3)
    assert "made_at" not in json.loads(last_event(site, "run-changed").after or "")
    send(site, NOTES.format(1), notes("late", revision=2), entry_id(), age_s=1500.0)
    made = json.loads(last_event(site, "run-changed").after or "")["made_at"]
    age_s = (entries.now_utc() - entries.dt.datetime.fromisoformat(made)).total_seconds()
    assert 1500 <= age_s < 1560


@pytest.mark.parametrize(("name", "age"), [("x", "0"), ("0123456789abcdef", "0"), (None, "nan"), (None, "soon")])
def test_headers_that_make_no_sense_are_refused(site: Site, name: str | None, age: str) -> None:
    headers = {"X-Stillair-Entry": name or entry_id(), "X-Stillair-Entry-Age": age}
    answer = site.client.post(NOTES.format(1), data=notes("x"), headers=headers)
    assert answer.status_code == 422
    assert answer.json()["error"].endswith(".")
    assert newest(site)[0] == 1


def test_the_feed_names_the_days_that_were_changed(site: Site) -> None:
    begin = site.client.get("/live").json()
    assert begin["everything"], "nobody knows what a page saw that remembers nothing"
    since = begin["newest"]
    assert site.client.get(f"/live?since={since}").json() == {
        "newest": since, "everything": False, "days": [], "others": False,
    }
    send(site, NOTES.format(1), notes("x"), entry_id())
    told = site.client.get(f"/live?since={since}").json()
    assert told["days"] == [1]
    assert told["newest"] > since
    assert site.client.get(f"/live?since={told['newest'] + 5}").json()["everything"], "a page of an earlier server"


def waited_for_news(site: Site) -> float:
    """How long the feed holds its answer when something changes after 0.2 s [s]."""
    since = site.client.get("/live").json()["newest"]
    told = threading.Timer(0.2, site.app.state.archive.database.news.tell, (1,))
    told.start()
    begun = time.monotonic()
    answer = site.client.get(f"/live?since={since}&hold=2")
    took = time.monotonic() - begun
    assert answer.json()["days"] == [1]
    told.join()
    return took


def test_the_feed_answers_when_something_changes_and_else_after_the_time_it_may_wait(site: Site) -> None:
    since = site.client.get("/live").json()["newest"]
    begun = time.monotonic()
    assert site.client.get(f"/live?since={since}&hold=0.3").json()["newest"] == since
    assert time.monotonic() - begun >= 0.3
    assert settled(lambda: waited_for_news(site), 1.5) <= 1.5  # of the two seconds that it may
    assert site.client.get(f"/live?since={since}&hold=2.1").status_code == 422


@pytest.mark.parametrize("asked", [1, 2])
def test_an_archive_that_is_away_asks_for_the_entry_again(
    site: Site, monkeypatch: pytest.MonkeyPatch, asked: int
) -> None:
    """Asked before the route or after it: one sentence, and the entry that is sent again is kept once."""
    questions, ask = itertools.count(1), entries_api.kept_answer

    def away(*told: Any) -> Any:
        if next(questions) == asked:
            raise ArchiveBusyError("The archive's database does not answer (made to be so).")
        return ask(*told)

    name, form = entry_id(), notes("gusts") if asked == 1 else {}
    before = counts(site)
    with monkeypatch.context() as inside:
        inside.setattr(entries_api, "kept_answer", away)
        answer = send(site, NOTES.format(1), form, name)
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
    assert "does not answer" in answer.json()["error"]
    assert counts(site) == before
    again = send(site, NOTES.format(1), form, name)
    assert again.status_code == (200 if asked == 1 else 422)
    if asked == 1:
        assert send(site, NOTES.format(1), form, name).json()["event"] == again.json()["event"]
