"""Entries between two outings over HTTP: kept with their event, without a fit; found, shown, and whole after a trip."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from sqlalchemy import func, select

from server.archive.tables import Event, Job
from server.days.beside_fit import BESIDE_FIT, is_seen
from server.days.checks import CAUTIONS, CHECKS
from server.days.service import newest_revision
from server.plans.plan_job import PLAN_FILE, keep_plan
from server.results.service import latest_result
from server.testday.folder import read_folder
from server.testday.values import WantedWidth
from tests.web.conftest import Site
from tests.web.day_site import day_site, newest

ITEMS = [*CAUTIONS, *CHECKS]


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with day_site(tmp_path) as site:
        site.app.state.jobs.stop()
        yield site


def send(site: Site, slug: str, **form: object) -> str:
    answer = site.client.post(f"/days/1/change/{slug}", data=form)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def text_of(site: Site, path: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", site.client.get(path).text)))


def jobs(site: Site) -> int:
    with site.app.state.archive.database.reading() as session:
        return session.scalar(select(func.count()).select_from(Job)) or 0


def test_a_name_beside_the_checks_is_an_event_and_asks_for_no_fit(site: Site) -> None:
    before = jobs(site)
    assert send(site, "checks", who="M. Quill", items=ITEMS) == "/days/1#checks"
    number, day, _ = newest(site)
    assert (number, [one.who for one in day.acknowledged]) == (2, ["M. Quill"])
    assert jobs(site) == before
    with site.app.state.archive.database.reading() as session:
        row = latest_result(session, 1)
        assert row is not None
        assert is_seen(session, newest_revision(session, 1), row.revision_id)
        event = session.scalars(select(Event).order_by(Event.id.desc())).first()
        assert event is not None
        assert event.kind == "checks-acknowledged"
        assert json.loads(event.after)["value"]["items"] == ITEMS
    assert "checks acknowledged by M. Quill" in text_of(site, "/days/1/history")
    for page in ("/days/1", "/days/1/runs/1", "/days/1/car"):
        assert "was changed since" not in text_of(site, page)
        assert "not fitted" not in text_of(site, page)


def test_two_people_may_put_their_names_to_the_same_check(site: Site) -> None:
    for who in ("M. Quill", "R. Sands"):
        send(site, "checks", who=who, items=ITEMS[:1])
    assert [one.who for one in newest(site)[1].acknowledged] == ["M. Quill", "R. Sands"]


def test_a_change_that_a_fit_sees_is_not_hidden_by_one_that_it_does_not(site: Site) -> None:
    form = {"setup": "A", "start": "09:20", "driver": "80", "coasting": "neutral"}
    send(site, "run.1", **form)
    send(site, "checks", who="M. Quill", items=ITEMS)
    with site.app.state.archive.database.reading() as session:
        row = latest_result(session, 1)
        assert row is not None
        assert not is_seen(session, newest_revision(session, 1), row.revision_id)


def test_an_empty_form_is_refused_beside_its_field(site: Site) -> None:
    answer = site.client.post("/days/1/change/checks", data={"who": "M. Quill"})
    assert answer.status_code == 422
    assert 'role="alert">Tick what was looked at; nothing was ticked.' in answer.text
    assert 'value="M. Quill"' in answer.text


def test_everything_survives_the_way_out_and_in_again(site: Site, tmp_path: Path) -> None:
    send(site, "checks", who="M. Quill", items=ITEMS)
    send(site, "checklist", items="rear flap pin")
    send(site, "wanted", difference_2="0.04")
    cold = ["0.95", "0.95", "0.9", ""]
    send(site, "remarks.1", driver="R. Sands", remarks="light at the rear", cold=cold, hot=[""] * 4)
    send(site, "turn", name="C", baseline="A", part_1="rear flap", to_1="steep", ballast="4")
    send(site, "air", wind="3", **{"from": "225"}, temperature="18", pressure="1009", surface="damp", time="10:05")
    assert {"checks-acknowledged", "checklist-changed", "wanted-changed", "run-remarked"} == set(BESIDE_FIT)
    day = newest(site)[1]
    zipped = tmp_path / "out.zip"
    zipped.write_bytes(site.client.get("/days/1/folder.zip").content)
    from server.readers.zip_folder import unpack_day_zip

    again = read_folder(unpack_day_zip(zipped, tmp_path / "in"))
    for name in ("acknowledged", "checklist", "wanted", "setups", "weather"):
        assert getattr(again, name) == getattr(day, name), name
    said = [(run.driver, run.remarks, run.tyre_cold_pa) for run in again.runs]
    assert said == [(run.driver, run.remarks, run.tyre_cold_pa) for run in day.runs]
    assert again.acknowledged[0].who == "M. Quill"


def test_the_drivers_word_is_shown_and_found(site: Site) -> None:
    send(site, "remarks.2", driver="R. Sands", remarks="light at the rear", cold=["0.95"] * 4, hot=[""] * 4)
    told = text_of(site, "/days/1/runs/2")
    assert "R. Sands, 72.0 ± 2.0 kg" in told
    assert "light at the rear" in told
    assert "0.95 / 0.95 / 0.95 / 0.95 bar" in told
    for words in ("light rear", "sands"):
        assert "Run 2 of Long apron" in text_of(site, f"/search?q={words}")


def test_a_setup_by_what_was_turned_stands_on_the_cars_page_and_is_found(site: Site) -> None:
    send(site, "turn", name="C", baseline="A", part_1="rear flap", to_1="steep", ballast="4")
    told = text_of(site, "/days/1/car")
    assert "rear flap not said → steep" in told
    assert "ballast not said → 4.00 ± 0.39 kg" in told
    assert "Setup C of Long apron" in text_of(site, "/search?q=steep")
    offered = site.client.get("/days/1/change/turn").text
    assert '<option value="rear flap">' in offered
    assert '<option value="steep">' in offered


def kept_plan(site: Site, folder: Path) -> int:
    wanted = [{"setup": "B", "u95_m2": 0.05}, {"setup": "Z", "u95_m2": 0.1}]
    asked = {"name": "Flap day", "baseline": "A", "wanted": wanted}
    folder.mkdir()
    (folder / PLAN_FILE).write_text(json.dumps({"asked": asked}))
    archive = site.app.state.archive
    with archive.database.writing() as session:
        return int(keep_plan(archive, session, {"scratch": str(folder), "who": "M. Quill", "asked": asked}, {}))


def test_wanted_widths_come_from_a_plan(site: Site, tmp_path: Path) -> None:
    number = kept_plan(site, tmp_path / "plan")
    assert f'<option value="{number}">Flap day, ' in site.client.get("/days/1/change/wanted").text
    send(site, "wanted", plan=str(number))
    assert newest(site)[1].wanted == (WantedWidth(0.05, "B", "A", "Flap day"),)
    assert "Wanted of this day: B − A ± 0.05 m², from the plan “Flap day”." in text_of(site, "/days/1")


def test_a_program_says_the_same_things(site: Site) -> None:
    who = {"X-Stillair-Who": "logger desk"}
    sent = {"fields": {"cold": [0.95, 0.95, 0.9, None], "driver": "R. Sands"}}
    answer = site.client.patch("/api/days/1/car/remarks.1", json=sent, headers=who)
    assert (answer.status_code, answer.json()["job_id"]) == (200, "")
    assert newest(site)[1].runs[0].tyre_cold_pa == (95_000.0, 95_000.0, 90_000.0, None)
    wrong = site.client.patch("/api/days/1/car/remarks.1", json={"fields": {"cold": [1.0]}}, headers=who)
    assert wrong.status_code == 422
    assert "must be a list of four numbers" in wrong.text
