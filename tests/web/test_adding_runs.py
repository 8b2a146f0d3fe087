"""Logs added to a day: read before they are kept; what is wrong or open is said row by row; nothing half done."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import httpx
import pytest
from sqlalchemy import select

from server.archive.jobs import add_job, open_jobs
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event, Job
from server.days.adding_runs import free_paths
from server.days.column_choices import TAKEN_OVER_EVENT
from server.history.verify import faults
from tests.web.conftest import Site
from tests.web.day_site import day_site, log_text, newest
from tests.web.serving import wait_for

HTMX = {"HX-Request": "true"}
PNG = b"\x89PNG\r\n\x1a\n" + bytes(2000)
DBC = b"""VERSION ""
BU_: LOGGER
BO_ 256 WHEELS: 8 LOGGER
 SG_ gps_speed : 0|16@1+ (0.01,0) [0|400] "km/h" LOGGER
"""


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """For tests that add nothing: one worker for all of them."""
    with day_site(tmp_path_factory.mktemp("adding")) as site:
        yield site


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with day_site(tmp_path) as site:
        yield site


def upload(site: Site, name: str, content: bytes | str) -> str:
    """A file that has come in; gives its number."""
    content = content.encode() if isinstance(content, str) else content
    uploads = site.app.state.uploads
    begun = uploads.begin(name, len(content))
    uploads.append(begun.id, 0, content)
    return str(uploads.settle(begun.id).id)


FACTS = {"setup": "A", "start": "", "driver": "72", "direction": "", "coasting": "neutral", "notes": ""}


def send(site: Site, *ids: str, htmx: bool = False, facts: dict[str, str] | None = None, **more: str) -> httpx.Response:
    rows = {f"log_{name}": [value] * len(ids) for name, value in {**FACTS, **(facts or {})}.items()}
    form = {"log_upload": list(ids), **rows, **more}
    return site.client.post("/days/1/runs", data=form, headers=HTMX if htmx else {})


def ended(site: Site, answer: httpx.Response) -> httpx.Response:
    """The page of the job when it has ended, or the way to the day."""
    assert answer.status_code == 303, answer.text
    place = answer.headers["location"]
    wait_for(lambda: 'http-equiv="refresh"' not in site.client.get(place).text)
    return site.client.get(place)


def plain(answer: httpx.Response) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def test_logs_become_runs_with_what_was_said_of_them(site: Site) -> None:
    ids = [upload(site, "outing 3.csv", log_text(3)), upload(site, "run01.csv", log_text(4))]
    facts = {"setup": "B", "start": "10:05", "direction": "out", "notes": "gusty", "driver": "71"}
    answer = ended(site, send(site, *ids, facts=facts))
    assert (answer.status_code, answer.headers["location"]) == (303, "/days/1")
    number, day, files = newest(site)
    assert number == 2
    assert [(run.number, run.setup, run.logs[0].file) for run in day.runs[2:]] == [
        (3, "B", "logs/outing_3.csv"), (4, "B", "logs/run01-2.csv"),
    ]  # fmt: skip
    assert (day.runs[2].start_clock_s, day.runs[2].direction, day.runs[2].notes) == (36300.0, "out", "gusty")
    assert site.app.state.archive.raw.path(files["logs/run01-2.csv"]).read_text() == log_text(4)
    assert site.app.state.archive.raw.path(files["logs/run01.csv"]).read_text() == log_text(1)
    wait_for(lambda: '2,B' in site.client.get("/days/1/course.csv").text)
    assert "By “runs 3, 4 added”" in plain(site.client.get("/days/1"))
    with site.app.state.archive.database.reading() as session:
        event = session.scalars(select(Event).where(Event.kind == "runs-added")).one()
    assert event.subject == "runs 3, 4"
    archive = ReadOnlyArchive(site.folder)
    assert list(faults(archive)) == []
    archive.close()


def test_a_setup_that_is_new_with_its_log(site: Site) -> None:
    new = {"new_name": "C", "new_baseline": "B", "new_parts": "rear flap = 30\ngurney = yes"}
    ended(site, send(site, upload(site, "a.csv", log_text(5)), facts={"setup": "+"}, **new))
    _, day, _ = newest(site)
    assert (day.runs[-1].setup, day.setups[-1].name, day.setups[-1].baseline) == ("C", "C", "B")
    assert day.setups[-1].parts == {"rear flap": 30.0, "gurney": True}


def test_a_file_that_is_no_log_is_refused_beside_what_was_typed(shared: Site) -> None:
    ids = [upload(shared, "holiday.csv", PNG), upload(shared, "good.csv", log_text(6))]
    answer = ended(shared, send(shared, *ids, facts={"notes": "after lunch", "start": "11:00"}))
    assert "holiday.csv is a picture (PNG); a log must be a table of text." in plain(answer)
    assert answer.text.count('class="field-problem"') == 1
    assert len(re.findall(r'name="log_notes"[^>]*value="after lunch"', answer.text)) == 2
    assert f'name="leave_out" value="{ids[0]}"' in answer.text
    assert newest(shared)[0] == 1


def test_the_bad_file_left_out_the_rest_is_added(site: Site) -> None:
    ids = [upload(site, "holiday.csv", PNG), upload(site, "good.csv", log_text(6))]
    ended(site, send(site, *ids))
    assert ended(site, send(site, *ids, leave_out=ids[0])).headers["location"] == "/days/1"
    assert [run.logs[0].file for run in newest(site)[1].runs[2:]] == ["logs/good.csv"]


def test_the_same_file_twice_on_the_day_is_said_at_once(shared: Site) -> None:
    answer = send(shared, upload(shared, "renamed.csv", log_text(2)), htmx=True)
    assert answer.status_code == 422
    said = "renamed.csv is the log of run 2 already, the same to the last byte; it was not added again."
    assert said in plain(answer)
    twice = [upload(shared, "x.csv", log_text(7)), upload(shared, "y.csv", log_text(7))]
    page = send(shared, *twice)
    assert "y.csv is the same file as x.csv; one of them is enough." in plain(page)
    assert page.status_code == 422
    assert newest(shared)[0] == 1


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"start": "noon"}, "a.csv: A start is written such as 09:09, not “noon”."),
        ({"driver": "-3"}, "a.csv: Driver with helmet and suit must lie between 0 and 200 kg, not −3."),
        ({"setup": "Q"}, "a.csv: The setup must be one of this day's."),
        ({"setup": "+"}, "A setup needs a name of at most 40 signs, such as a letter."),
    ],
)
def test_a_wrong_fact_is_refused_before_anything_is_read(shared: Site, facts: dict[str, str], sentence: str) -> None:
    answer = send(shared, upload(shared, "a.csv", log_text(8)), facts=facts)
    assert answer.status_code == 422
    assert sentence in plain(answer)


def test_no_file_and_a_file_that_is_gone(shared: Site) -> None:
    assert "No file was sent; choose at least one logger file." in plain(send(shared))
    assert "One of the files is no longer here; send it again." in plain(send(shared, "f" * 32))


def test_an_unknown_unit_is_asked_and_the_answer_is_remembered(site: Site) -> None:
    """What a person says once is taken over for the next log with that column, and the history says so."""
    head = "time [s],GPS Speed [furlong/h]"
    first = upload(site, "a.csv", log_text(9, head))
    asked = ended(site, send(site, first))
    assert "“GPS Speed” is taken for the satellite speed; the log does not say its unit" in plain(asked)
    assert newest(site)[0] == 1
    answers = {f"role:{first}:gps_speed": "GPS Speed", f"unit:{first}:gps_speed": "km/h"}
    assert ended(site, send(site, first, **answers)).headers["location"] == "/days/1"
    assert newest(site)[1].runs[-1].channels == {"gps_speed": "GPS Speed [km/h]"}
    ended(site, send(site, upload(site, "b.csv", log_text(10, head))))
    assert newest(site)[1].runs[-1].channels == {"gps_speed": "GPS Speed [km/h]"}
    with site.app.state.archive.database.reading() as session:
        event = session.scalars(select(Event).where(Event.kind == TAKEN_OVER_EVENT)).one()
    assert '"4": {"gps_speed": "GPS Speed [km/h]"}' in (event.after or "").replace('":{', '": {').replace('":"', '": "')


def test_two_columns_that_compete_are_asked(shared: Site) -> None:
    rows = "\n".join(f"{i / 10},{50 - i / 50},{49 - i / 50}" for i in range(1000))
    log = upload(shared, "two.csv", f"time [s],GPS Speed [km/h],gps speed 2 [km/h]\n{rows}\n")
    asked = ended(shared, send(shared, log))
    assert "More than one column may be the satellite speed." in plain(asked)
    assert re.search(r"<option value=\"GPS Speed\">", asked.text)


def test_a_log_without_a_speed_asks_which_column_it_is(shared: Site) -> None:
    rows = "\n".join(f"{i / 10},{50 - i / 50}" for i in range(1000))
    asked = ended(shared, send(shared, upload(shared, "x.csv", f"time [s],foo\n{rows}\n")))
    assert "the car's own speed" in plain(asked)
    assert '<option value="foo">' in asked.text


def frame(at_s: float) -> str:
    """A line of candump text: 100 times the speed in km/h, in two bytes."""
    speed = int(100 * max(5.0, 80.0 - at_s)).to_bytes(2, "little").hex()
    return f"({1_700_000_000 + at_s:.6f}) can0 100#{speed}000000000000\n"


def test_a_bus_log_takes_the_database_that_came_with_it(site: Site) -> None:
    frames = "".join(frame(i / 10) for i in range(600))
    alone = upload(site, "bus.log", frames)
    refused = ended(site, send(site, alone))
    assert "bus.log" in refused.text
    assert 'class="field-problem"' in refused.text
    ids = [alone, upload(site, "car.dbc", DBC)]
    assert ended(site, send(site, *ids)).headers["location"] == "/days/1"
    _, day, files = newest(site)
    assert (day.signals, day.runs[-1].logs[0].signals, "logs/car.dbc" in files) == ("logs/car.dbc", None, True)
    other = [upload(site, "bus2.log", frames.replace("can0", "can1")), upload(site, "car.dbc", DBC + b"\n")]
    ended(site, send(site, *other))
    _, day, _ = newest(site)
    assert (day.signals, day.runs[-1].logs[0].signals) == ("logs/car.dbc", "logs/car-2.dbc")


def test_without_scripts_files_come_with_the_form(site: Site) -> None:
    rows = {f"log_{name}": [value, value] for name, value in FACTS.items()}
    rows["log_setup"] = ["A", "B"]
    files = [("log", ("", b"")), ("log", ("plain.csv", log_text(11).encode()))]
    answer = site.client.post("/days/1/runs", data=rows, files=files)
    assert ended(site, answer).headers["location"] == "/days/1"
    assert newest(site)[1].runs[-1].setup == "B"


def test_the_piece_for_htmx_leads_to_the_day(site: Site) -> None:
    piece = send(site, upload(site, "a.csv", log_text(12)), htmx=True)
    status = re.search(r'hx-get="([^"]+/status)"', piece.text)
    assert status is not None
    done = wait_for(lambda: (a := site.client.get(status[1], headers=HTMX)) and "HX-Redirect" in a.headers and a)
    assert done.headers["HX-Redirect"] == "/days/1"
    on_the_day = site.client.get(status[1], headers={**HTMX, "HX-Current-URL": "http://here:1/days/1?wanted=1#add"})
    assert "HX-Redirect" not in on_the_day.headers
    assert (on_the_day.headers["HX-Trigger"], "The logs are added" in on_the_day.text) == ("stillair:follow", True)


def test_called_off_nothing_is_added(site: Site) -> None:
    site.app.state.jobs.stop()
    place = send(site, upload(site, "a.csv", log_text(13))).headers["location"]
    with site.app.state.archive.database.reading() as session:
        job_id = session.scalars(select(Job.id).where(Job.kind == "add-runs")).one()
    site.client.post(f"/jobs/{job_id}/cancel")
    page = site.client.get(place)
    assert "called off; nothing was added" in plain(page)
    assert 'name="log_upload"' in page.text
    assert newest(site)[0] == 1
    assert site.client.get(place.replace("/days/1/", "/days/2/")).status_code == 404


def test_the_same_file_from_two_screens_is_added_once(site: Site) -> None:
    one, other = upload(site, "a.csv", log_text(14)), upload(site, "b.csv", log_text(14))
    answers = [send(site, one), send(site, other)]
    pages = [ended(site, answer) for answer in answers]
    assert sorted(page.status_code for page in pages) == [200, 303]
    refused = next(page for page in pages if page.status_code == 200)
    assert "is the log of run 3 already" in plain(refused)
    assert len(newest(site)[1].runs) == 3


def open_work(site: Site) -> int:
    with site.app.state.archive.database.reading() as session:
        return len(open_jobs(session))


def test_reading_does_not_wait_for_a_fit(site: Site) -> None:
    """Nor does it wait for long work when nothing else is to be done."""
    with site.app.state.archive.database.writing() as session:
        add_job(session, "endless", "a fit that takes long", {}, "e" * 32)
        session.get_one(Job, "e" * 32).state = "running"
    ended(site, send(site, upload(site, "a.csv", log_text(15))))
    with site.app.state.archive.database.writing() as session:
        assert session.scalars(select(Job.lane).where(Job.kind == "add-runs")).one() == "long"
        session.get_one(Job, "e" * 32).state = "done"
    wait_for(lambda: open_work(site) == 0)
    ended(site, send(site, upload(site, "b.csv", log_text(16))))
    with site.app.state.archive.database.reading() as session:
        assert set(session.scalars(select(Job.lane).where(Job.kind == "add-runs"))) == {"long", "quick"}


def test_paths_never_clash() -> None:
    """Also where a system takes capitals and small letters for the same."""
    taken = ["logs/Run01.csv", "logs/run01-2.CSV", "testday.toml"]
    assert free_paths(taken, ["run01.csv", "RUN01.csv", "../../etc/x y.csv", "ä.log"]) == [
        "logs/run01-3.csv", "logs/RUN01-4.csv", "logs/x_y.csv", "logs/log",
    ]  # fmt: skip
