"""The page of a test day: what it says, what comes in by itself, its figure, forms in place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from server.days.service import IncomingDay, keep_day
from server.days.tables import DayRevision
from tests.web.conftest import Site
from tests.web.day_site import DAY, day_site, keep, newest
from tests.web.serving import wait_for

HTMX = {"HX-Request": "true"}


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with day_site(tmp_path) as site:
        yield site


@pytest.fixture
def still(site: Site) -> Site:
    """Nothing that is queued is done."""
    site.app.state.jobs.stop()
    return site


def text_of(site: Site, path: str = "/days/1") -> str:
    answer = site.client.get(path)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def test_it_says_where_the_day_stands_and_what_to_run_next(site: Site) -> None:
    text = text_of(site)
    assert "SCx A 1.520 ± 0.041, B 1.380 ± 0.041 m². Next: " in text
    assert "4 out, 4 back" in text
    assert "Air read at 09:00, 41 minutes before the last run (run 2, 09:41). Read it again." in text
    assert re.search(r"Run 1 .*09:20 72\.0 ± 2\.0 kg both ways 4 of 5", text), text
    html = site.client.get("/days/1").text
    assert len(re.findall(r'class="[^"]*\bfilled\b', html)) == 1
    for there in ("/days/1/result", "/days/1/car", "/days/1/history", "/days/1/folder.zip", "/days/1/runs/2"):
        assert f'href="{there}"' in html
        assert site.client.get(there).status_code == 200
    assert '<a href="/">Season</a>' in html


def test_a_day_that_is_not_there(site: Site) -> None:
    assert [site.client.get(f"/days/{n}").status_code for n in (7, 0, "x")] == [404, 422, 422]
    times = {"from": "80", "to": "70", "out": "6", "setup": "A"}
    assert site.client.post("/days/7/typed", data=times).status_code == 404
    assert site.client.get("/days/7/course").status_code == 404


def test_findings_that_ask_stand_there_notes_are_folded(site: Site) -> None:
    text = text_of(site)
    assert "No downforce was measured, typed or predicted" in text
    assert "1 note: good to know" in text
    assert "The axle inertia was not given" not in text


def test_another_wanted_interval(site: Site) -> None:
    assert "both within the wanted ± 0.05 m²" in text_of(site, "/days/1?wanted=0.05")
    assert site.client.get("/days/1?wanted=-1").status_code == 422
    assert '"y0":1.47' in site.client.get("/days/1/course.json?wanted=0.05").text


def test_a_day_without_a_result_teaches(still: Site, tmp_path: Path) -> None:
    folder = tmp_path / "fresh"
    (folder / "logs").mkdir(parents=True)
    (folder / "testday.toml").write_text(DAY.replace("Long apron", "Fresh"))
    archive = still.app.state.archive
    with archive.database.writing() as session:
        keep_day(archive, session, IncomingDay("Fresh", None, folder, "fresh"))
    text = text_of(still, "/days/2")
    assert "2 runs and no result yet: the day as it stands was not fitted." in text
    assert "Fit the day as it is" in text
    assert "What the program notices stands here after the first fit" in text
    assert still.client.get("/days/2/course.json").status_code == 200


def test_days_before_and_after_by_date(site: Site, tmp_path: Path) -> None:
    later = DAY.replace("2026-05-09", "2026-06-01").replace("Long apron", "Later")
    keep(site.app.state.archive, tmp_path / "later" / "day", later)
    assert 'rel="next">Later' in site.client.get("/days/1").text
    assert 'rel="prev">‹ Long apron' in site.client.get("/days/2").text


def test_nothing_new_is_no_answer_but_a_change_elsewhere_is_said(still: Site) -> None:
    result = re.search(r"result=(\d+)", still.client.get("/days/1").text)
    assert result is not None
    idle = f"/days/1/now?result={result[1]}&revision=1&idle=true"
    assert still.client.get(idle, headers=HTMX).status_code == 204
    form = {"revision": "1", "setup": "B", "start": "09:20", "driver": "72", "coasting": "neutral"}
    assert still.client.post("/days/1/change/run.1", data=form).status_code == 303
    piece = still.client.get(idle, headers=HTMX).text
    assert "changed on another screen" in piece
    assert "run 1 moved from setup A to B" in piece
    assert "hx-swap-oob" not in piece
    assert still.client.get(idle).headers["location"] == "/days/1"


def test_a_new_result_brings_everything_that_came_of_it(site: Site) -> None:
    form = {"revision": "1", "setup": "A", "start": "09:20", "driver": "75", "coasting": "neutral"}
    site.client.post("/days/1/change/run.1", data=form)
    seen = "/days/1/now?result=1&revision=2"
    wait_for(lambda: "hx-swap-oob" in site.client.get(seen, headers=HTMX).text)
    piece = site.client.get(seen, headers=HTMX).text
    for part in ("standing", "course", "moved-here", "findings-here", "run-1-passes", "run-2-grades"):
        assert re.search(rf'id="{part}"[^>]* hx-swap-oob="true"', piece), part
    assert "By “run 1: driver changed”" in piece
    assert "every 15s" in piece
    older = site.client.get("/days/1/now?result=1&revision=1", headers=HTMX).text  # such a page may lack a run
    assert 'id="standing" hx-swap-oob' in older
    assert "run-1-passes" not in older


def test_the_course_as_figure_table_and_csv(site: Site) -> None:
    form = {"revision": "1", "setup": "A", "start": "09:20", "driver": "75", "coasting": "neutral"}
    site.client.post("/days/1/change/run.1", data=form)
    wait_for(lambda: site.client.get("/days/1/course.csv").text.count("\n") == 5)
    lines = site.client.get("/days/1/course.csv").text.splitlines()
    assert lines[0] == "result,setup,SCx [m²],u [m²],low 95 % [m²],high 95 % [m²],coast-downs used,led by"
    assert [line.split(",")[0] + line.split(",")[1] + line.rpartition(",")[2] for line in lines[1:]] == [
        "1Aadded", "1Badded", "2Arun 1: driver changed", "2Brun 1: driver changed",
    ]  # fmt: skip
    assert "run 1: driver changed" in text_of(site, "/days/1/course")
    assert site.client.get("/days/1/course.json").json()["figure"]["data"]


def test_a_runs_facts_are_corrected_and_moved_in_one_change(still: Site) -> None:
    form = {"revision": "1", "setup": "B", "start": "9:25", "driver": "70,5", "direction": "out", "coasting": "clutch"}
    answer = still.client.post("/days/1/change/run.1", data={**form, "notes": "cross wind"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/days/1#run-1")
    number, day, _ = newest(still)
    run = day.runs[0]
    assert (number, run.setup, run.start_clock_s, run.driver_mass_kg.value) == (2, "B", 33900.0, 70.5)
    assert (run.direction, run.coasting, run.notes) == ("out", "clutch", "cross wind")
    with still.app.state.archive.database.reading() as session:
        what = session.query(DayRevision).filter_by(number=2).one().what
    assert what == "run 1 moved from setup A to B; start, driver, direction, coasting, notes changed"


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("start", "noon", "A start is written such as 09:09, not “noon”."),
        ("driver", "heavy", "Driver with helmet and suit must be a number, not “heavy”."),
        ("driver", "300", "Driver with helmet and suit must lie between 0 and 200 kg, not 300."),
        ("setup", "Z", "The setup must be one of this day's."),
    ],
)
def test_a_wrong_fact_is_refused_beside_its_field(still: Site, field: str, typed: str, sentence: str) -> None:
    form = {"revision": "1", "setup": "A", "start": "09:20", "driver": "72", "coasting": "neutral", "notes": "kept"}
    answer = still.client.post("/days/1/change/run.1", data={**form, field: typed})
    assert answer.status_code == 422
    assert f'<p class="field-problem" id="run.1-{field}-problem" role="alert">{sentence}</p>' in unescape(answer.text)
    assert "kept</textarea>" in answer.text
    assert newest(still)[0] == 1


def test_the_form_sent_as_it_came_changes_nothing(still: Site) -> None:
    form = {"revision": "1", "setup": "A", "start": "09:20", "driver": "72", "coasting": "neutral", "direction": ""}
    answer = still.client.post("/days/1/change/run.1", data=form)
    assert answer.status_code == 422
    assert "Nothing would change by that." in answer.text


def test_somebody_elses_change_is_not_written_over(still: Site) -> None:
    form = {"revision": "1", "setup": "A", "start": "09:20", "driver": "73", "coasting": "neutral"}
    still.client.post("/days/1/change/run.1", data=form)
    answer = still.client.post("/days/1/change/run.1", data={**form, "driver": "74"})
    assert answer.status_code == 422
    assert "Somebody changed this day meanwhile (revision 2)" in answer.text
    assert newest(still)[1].runs[0].driver_mass_kg.value == 73.0


def test_the_air_is_read_again_in_two_taps(still: Site) -> None:
    """The form comes with the last reading in it; what is not typed over stays, with its uncertainty."""
    form = still.client.get("/days/1/change/weather", headers=HTMX).text
    fields = dict(re.findall(r'name="(\w+)"[^>]*value="([^"]*)"', form))
    assert (fields["pressure"], fields["temperature"]) == ("1009", "17")
    answer = still.client.post("/days/1/change/weather", data={**fields, "time": "09:40", "temperature": "19"})
    assert answer.headers["location"] == "/days/1#weather"
    first, second = newest(still)[1].weather
    assert (second.clock_s, second.temperature_k.value) == (9 * 3600 + 40 * 60, 292.15)
    assert second.pressure_pa == first.pressure_pa
    assert "1 minute before the last run" in text_of(still)


def test_one_reading_for_all_day_gets_its_time_with_the_second(tmp_path: Path) -> None:
    with day_site(tmp_path) as site:
        site.app.state.jobs.stop()
        keep(site.app.state.archive, tmp_path / "x" / "day", DAY.replace("time = 09:00:00, ", ""))
        assert "One reading of the air holds all day" in text_of(site, "/days/2")
        form = site.client.get("/days/2/change/weather", headers=HTMX).text
        fields = dict(re.findall(r'name="(\w+)"[^>]*value="([^"]*)"', form))
        assert fields["first"] == "09:20:00"
        without = {name: value for name, value in fields.items() if name != "first"}
        refused = site.client.post("/days/2/change/weather", data={**without, "time": "10:00"})
        assert "holds all day; give that one a time first" in refused.text
        assert site.client.post("/days/2/change/weather", data={**fields, "time": "10:00"}).status_code == 303


TIMES = {"from": ["80", "70"], "to": ["70", "60"], "out": ["6,1", "7,4"], "back": ["6,8", "8,2"]}


def test_times_typed_by_hand_are_a_run_like_the_others(still: Site) -> None:
    facts = {"setup": "B", "driver": "72", "coasting": "neutral", "notes": "stopwatch", "gain": "1.04"}
    answer = still.client.post("/days/1/typed", data={**TIMES, **facts})
    assert (answer.status_code, answer.headers["location"]) == (303, "/days/1")
    _, day, files = newest(still)
    run = day.runs[-1]
    assert (run.number, run.setup, run.coasting, run.notes) == (3, "B", "neutral", "stopwatch")
    assert run.logs[0].file == "logs/typed_times.csv"
    content = still.app.state.archive.raw.path(files["logs/typed_times.csv"]).read_text()
    assert content.splitlines() == [
        "speedometer_gain;1.04", "speed_from_kmh;speed_to_kmh;seconds_out;seconds_back",
        "80;70;6,1;6,8", "70;60;7,4;8,2",
    ]  # fmt: skip
    again = {**TIMES, "out": ["6,3", "7,6"], **facts}
    still.client.post("/days/1/typed", data=again)
    assert newest(still)[1].runs[-1].logs[0].file == "logs/typed_times-2.csv"


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ({"from": ["80", "60"], "to": ["70", "65"], "out": ["6", "7"]}, "Row 2: speed_to is not below speed_from."),
        ({"from": ["80"], "to": ["70"], "out": ["six"]}, "Row 1: seconds_out 'six' is no number."),
        ({"from": [""], "to": [""], "out": [""]}, "Nothing was typed: a row takes two speeds"),
        ({"from": ["80"], "to": ["70"], "out": ["6"], "gain": ["9"]}, "The settings: speedometer_gain 9 cannot be"),
    ],
)
def test_wrong_times_are_refused_with_what_was_typed(still: Site, rows: dict, sentence: str) -> None:  # type: ignore[type-arg]
    answer = still.client.post("/days/1/typed", data={**rows, "setup": "A", "notes": "kept", "coasting": "clutch"})
    assert answer.status_code == 422
    assert sentence in unescape(answer.text)
    assert re.search(r'name="notes"[^>]*value="kept"', answer.text)
    if rows["from"][0]:
        assert re.search(r'name="from"[^>]*value="80"', answer.text)
    assert newest(still)[0] == 1


def test_fifty_runs_are_told_from_the_summary_alone(still: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """No result is read whole for this page."""

    def read(*_: object) -> None:
        raise AssertionError("a result was read whole")

    monkeypatch.setattr(type(still.app.state.results), "read", read)
    monkeypatch.setattr("server.results.service.result_from_bytes", read)
    assert still.client.get("/days/1").status_code == 200
    assert still.client.get("/days/1/course.json").status_code == 200
