"""Car and setups: what was run, every form sent back, refusals beside their field, corrections of several days."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import httpx
import pytest
from sqlalchemy import func, select

from server.app import create_app
from server.archive.jobs import JobKind
from server.archive.tables import Event, Job
from server.cars.pages import car_sentence, dearest_default
from server.days.car_view import car_view
from server.days.changes import plain
from server.days.forms import form_of, kind_of
from server.days.revisions import newest_day
from server.days.service import FIT_JOB, REFIT_JOB, IncomingDay, keep_day, newest_revision
from server.days.tables import DayRevision
from server.errors import NotFoundError
from server.locations import sample_day_folders
from server.results.fit_job import keep_refitted
from server.results.service import keep_result, write_result
from server.settings import Settings
from server.testday.folder import read_folder
from server.testday.values import Calibration, Day
from tests.testday.folders import FULL, FULL_FILES, MINIMAL, make, read
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS, work
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of

CALM = next((one for one in sample_day_folders() if "calm" in one.name), None)
SHAKEDOWN = next((one for one in sample_day_folders() if "shakedown" in one.name), None)


def idle(payload, progress):  # type: ignore[no-untyped-def]
    """A fit that waits for ever: the pages after a change, before its result."""
    return work({**payload, "folder": str(CALM)}, progress)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """Two sample days of one car, with results that were made up; what is queued is not done."""
    app = create_app(
        Settings(data_folder=tmp_path / "data"), {FIT_JOB: KINDS[FIT_JOB], REFIT_JOB: JobKind(idle, keep_refitted)}
    )
    app.state.jobs.start = lambda: None
    with client_of(app) as client:
        made = Site(app, client, tmp_path / "data")
        for folder in (SHAKEDOWN, CALM):
            assert folder is not None
            keep(made, folder, tmp_path)
        yield made


def keep(site: Site, folder: Path, scratch: Path) -> int:
    write_result(made_up_day_result("A" if folder == SHAKEDOWN else "ABC"), scratch / "result.zip")
    archive = site.app.state.archive
    with archive.database.writing() as session:
        day = keep_day(archive, session, IncomingDay(folder.name, read_folder(folder).date, folder, folder.name))
        keep_result(archive, session, newest_revision(session, day.id), scratch / "result.zip")
        return day.id


def newest(site: Site, day_id: int) -> tuple[int, Day]:
    archive = site.app.state.archive
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        return revision.number, day


def counts(site: Site) -> tuple[int | None, ...]:
    with site.app.state.archive.database.reading() as session:
        return tuple(session.scalar(select(func.count()).select_from(table)) for table in (Event, DayRevision, Job))


class Fields(HTMLParser):
    """What a browser would send of the form, untouched."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.sent: list[tuple[str, str]] = []
        self._area = self._select = ""
        self._text, self._inside = "", False
        self.feed(html[html.index('<form class="edit"') :].split("</form>", maxsplit=1)[0])

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        have = {name: value or "" for name, value in attrs}
        if tag == "input" and (have.get("type") != "checkbox" or "checked" in have):
            self.sent.append((have["name"], have.get("value", "on")))
        if tag == "textarea":
            self._area, self._text = have["name"], ""
        if tag == "select":
            self._select = have["name"]
        if tag == "option" and ("selected" in have or all(name != self._select for name, _ in self.sent)):
            self.sent = [one for one in self.sent if one[0] != self._select] + [(self._select, have["value"])]

    def handle_data(self, data: str) -> None:
        self._text += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self.sent.append((self._area, self._text.removeprefix("\n").replace("\n", "\r\n")))


def filled(site: Site, day_id: int, slug: str, **changed: str | list[str]) -> dict[str, str | list[str]]:
    page = site.client.get(f"/days/{day_id}/car/{slug}")
    assert page.status_code == 200, page.text
    return {**dict(Fields(page.text).sent), "do": "keep", **changed}


def send(site: Site, day_id: int, slug: str, **changed: str | list[str]) -> httpx.Response:
    return site.client.post(f"/days/{day_id}/car/{slug}", data=filled(site, day_id, slug, **changed))


def problem(answer: httpx.Response) -> str:
    """The one sentence of a refusal, beside its field or above the form."""
    assert answer.status_code == 422, answer.text
    found = re.findall(r'<p class="field-problem"[^>]*>(.*?)</p>|role="alert">.*?<p>(.*?)</p>', answer.text, re.DOTALL)
    assert len(found) == 1
    return unescape("".join(found[0]))


# What the page says


def test_the_page_opens_with_what_was_run_and_what_to_measure(site: Site) -> None:
    page = unescape(site.client.get("/days/1/car").text)
    sentence = re.search(r'<p class="sentence">(.*?)</p>', page)
    assert sentence is not None
    assert sentence[1].startswith(
        "Wisp 5, 236.00 ± 0.98 kg without driver, driven in setup A; 18 of 19 values are defaults"
    )
    assert page.count("a default: measure it") == 18
    assert "a tape between the wheel centres, left and right" in page
    calm = unescape(site.client.get("/days/2/car").text)
    assert "driven in setups A, B and C; every value of it was given by somebody." in calm
    for text in (
        "1540.0 ± 9.8 mm",
        "39.00 ± 0.76 N/mm",
        "47.50 ± 0.98 %",
        "1014.0 ± 2.0 hPa",
        "reference speed 79.2 km/h",
    ):
        assert text in calm
    assert "rear flap 22° → 34°" in calm


def test_the_dearest_default_is_that_of_the_setup_that_owes_it_most() -> None:
    result = made_up_day_result("AB")
    lines = [line for setup in result.setups for line in setup.budget if line.quantity == "SCx"]
    named = dearest_default(result)
    told = [line for line in lines if line.source == "default" and line.value is not None]
    assert (named is None) == (not told)
    if named:
        assert named[0] in {line.input for line in told}
        assert 0 < named[1] <= 1


def test_a_full_day_shows_tables_and_calibrations(tmp_path: Path) -> None:
    view = car_view(read(tmp_path / "full", FULL, FULL_FILES))
    rows = {row.slug: row for group in view.groups for row in group.rows}
    assert rows["corners"].value == "73.15, 73.15, 80.85, 80.85 kg (fl, fr, rl, rr)"
    assert any(row.lines for row in rows.values())
    assert any(slug.startswith("calibration.") for slug in rows)
    assert car_sentence(view, None).startswith("Car 7, 236.00 ± 0.78 kg without driver, driven in setup")


# Every form


def every_slug(day: Day) -> list[str]:
    view = car_view(day)
    rows = [row.slug for group in view.groups for row in group.rows]
    return [*rows, *(row.slug for row in view.weather), *(row.slug for row in view.setups), "day", "venue"]


def test_every_form_can_be_opened_alone_and_sent_back_unchanged_changes_nothing(site: Site) -> None:
    day, before, told = newest(site, 2)[1], counts(site), 0
    for slug in every_slug(day):
        form = form_of(day, slug)
        given = any(field.value for field in form.fields)
        assert form.title in unescape(site.client.get(f"/days/2/car/{slug}").text)
        if given and not slug.startswith("setup."):  # a setup that was run proposes a new name, which is a change
            assert problem(send(site, 2, slug)) == "Nothing would change by that.", slug
            told += 1
    assert told > 30
    assert counts(site) == before


def test_a_form_of_nothing_is_not_here(site: Site) -> None:
    for slug in (
        "colour",
        "front.colour",
        "weather.9",
        "setup.0",
        "weather.x",
        "calibration.nose",
        "corners.1",
        "mass_kg.x",
    ):
        assert site.client.get(f"/days/1/car/{slug}").status_code == 404, slug
    assert site.client.get("/days/77/car").status_code == 404
    with pytest.raises(NotFoundError):
        kind_of("front.")


def test_a_piece_of_the_page_is_the_form_alone(site: Site) -> None:
    piece = site.client.get("/days/1/car/mass_kg", headers={"HX-Request": "true"}).text
    assert piece.lstrip().startswith("<form")
    assert "<html" not in piece


@pytest.mark.parametrize(
    ("slug", "typed", "sentence"),
    [
        ("mass_kg", {"value": "heavy"}, "The mass must be a number, not “heavy”."),
        ("mass_kg", {"value": "1e9"}, "The mass must lie between 50 and 3,000 kg, not 1000000000."),
        ("mass_kg", {"value": "nan"}, "The mass must be a number, not “nan”."),
        ("mass_kg", {"value": ""}, "The mass is missing; type a number."),
        ("mass_kg", {"value_u": "-1"}, "The uncertainty of the mass must lie between 0 and 2,950 kg, not −1."),
        ("mass_kg", {"value_u": "<b>"}, "The uncertainty of the mass must be a number, not “<b>”."),
        ("wheelbase_m", {"value": "1,54"}, "The wheelbase must lie between 500 and 6,000 mm, not 1.54 (m?)."),
        (
            "front_weight",
            {"value": "0.475"},
            "The front share of the weight must lie between 20 and 80 %, not 0.475 (a share of 1?).",
        ),
        (
            "front.tyre_radius_m",
            {"value": "18"},
            "The front axle’s rolling radius must lie between 50 and 600 mm, not 18.",
        ),
        ("front.heave_table", {"value": "0 0\n5 x"}, "Axle force in line 2 must be a number, not “x”."),
        (
            "front.heave_table",
            {"value": "0 0\n5 100\n10 50"},
            "A force falls while the travel rises; a spring pushes back.",
        ),
        (
            "front.motion_ratio_table",
            {"value": "10 0,9\n0 0,8"},
            "The first column (travel) must rise from line to line.",
        ),
        ("front.motion_ratio_table", {"value": "10 0,9 3"}, "Line 1 of the table must be two numbers, not “10 0,9 3”."),
        ("corners", {"fl": "70"}, "Front right is missing; all four are needed."),
        (
            "corners",
            {"fl": "9", "fr": "9", "rl": "90", "rr": "90"},
            "That puts 9 % on the front axle; is the order right?",
        ),
        ("driven", {"value": "middle"}, "The driven axle is front, rear or both."),
        ("calibration.damper_fl", {"gain": "0"}, "A gain of 0 would make the sensor tell nothing."),
        ("calibration.damper_fl", {"gain": "25", "unit": "zorks"}, "'zorks' is no unit that is known here."),
        (
            "calibration.damper_fl",
            {"table": "0 0\n1 25", "gain": "25"},
            "Give either gain and offset or a table, not both.",
        ),
        ("day", {"speed": "22"}, None),
        ("day", {"speed": "1000"}, "The reference speed must lie between 18 and 360 km/h, not 1000."),
        ("day", {"date": "9 May"}, "The date must be written year-month-day, not “9 May”."),
        ("day", {"timezone": "Atlantis"}, "“Atlantis” is no time zone such as Europe/Lisbon."),
        ("venue", {"heading": "400"}, "The heading must lie between 0 and 360 °, not 400."),
        ("venue", {"grade": "40"}, "The grade must lie between −10 and 10 %, not 40."),
        (
            "weather.1",
            {"pressure": "1,0075"},
            "Station pressure must lie between 500 and 1,100 hPa, not 1.0075 (bar?).",
        ),
        ("weather.1", {"time": "25:00"}, "A time is written such as 09:30, not “25:00”."),
        (
            "weather",
            {"pressure": "1007", "temperature": "11", "time": ""},
            "Where there are several readings each needs its time.",
        ),
        ("setup", {"name": "A"}, "Setup “A” is there already; give this one a name of its own."),
        (
            "setup",
            {"front_height": "0,034"},
            "The front ride height must lie between 1 and 300 mm, not 0.034 (metres?).",
        ),
        ("setup", {"parts": "wing"}, "A part is written as “part = what is fitted”, not “wing”."),
        ("setup.1", {"name": "A"}, "Setup A was run and stays as it is; give the revised one its own name."),
    ],
)
def test_nonsense_is_one_sentence_beside_its_field_and_nothing_changes(
    site: Site, slug: str, typed: dict[str, str], sentence: str | None
) -> None:
    before = counts(site)
    answer = send(site, 1, slug, **typed)
    if sentence is None:
        assert answer.status_code == 303
        return
    assert problem(answer) == sentence
    assert counts(site) == before
    again = dict(Fields(answer.text).sent)
    for name, text in typed.items():  # what was typed is still there, to be mended; but for words of no list
        if slug != "driven":
            assert again[name].replace("\r\n", "\n") == text


def test_a_mass_in_kilograms_with_a_decimal_comma_and_u95(site: Site) -> None:
    answer = send(
        site, 1, "mass_kg", value="237,25", value_u="1", value_u_is="u95", value_source="measured", reason="scales"
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/days/1/car")
    number, day = newest(site, 1)
    mass = day.car.mass_kg
    assert (number, mass.value, mass.source) == (2, 237.25, "measured")
    assert mass.u == pytest.approx(1 / 1.959964, rel=1e-12)
    page = unescape(site.client.get("/days/1/car").text)
    assert "237.2 ± 1.0 kg" in page
    assert "The day was changed since its last fit; a new one is on the way" in page
    with site.app.state.archive.database.reading() as session:
        event = session.scalar(select(Event).order_by(Event.id.desc()).limit(1))
        assert event is not None
        assert (event.kind, event.reason) == ("car-changed", "scales")
        revision = newest_revision(session, 1)
        assert revision.what == "mass: 236.00 ± 0.98 kg → 237.2 ± 1.0 kg"


def test_a_default_can_be_given_and_taken_back(site: Site) -> None:
    assert send(site, 1, "wheelbase_m", value="1540").status_code == 303
    assert plain(newest(site, 1)[1].car.wheelbase_m) == {"value": 1.54, "u": 0.005, "source": "typed"}
    assert send(site, 1, "wheelbase_m", do="clear").status_code == 303
    assert newest(site, 1)[1].car.wheelbase_m.source == "default"


def test_corner_masses_give_front_share_and_mass(site: Site) -> None:
    corners = {"fl": "73", "fr": "73,5", "rl": "80", "rr": "81,5", "aboard": "72"}
    assert send(site, 1, "corners", **corners).status_code == 303
    car = newest(site, 1)[1].car
    assert car.corner_mass_kg == (73.0, 73.5, 80.0, 81.5)
    assert car.mass_kg.value == pytest.approx(236.0, abs=1e-9)
    assert car.front_weight.value == pytest.approx(146.5 / 308.0, rel=1e-12)


def test_tables_and_calibrations_are_lines_of_two_numbers(site: Site) -> None:
    assert send(site, 1, "rear.heave_table", value="0 0\r\n10;400,5\r\n\r\n20\t900").status_code == 303
    assert send(site, 1, "calibration.damper_fl", gain="25", unit="mm/V", gain_rel_u="0,4").status_code == 303
    car = newest(site, 1)[1].car
    assert car.rear.heave_table == ((0.0, 0.0), (0.01, 400.5), (0.02, 900.0))
    assert car.calibration["damper_fl"] == Calibration(25.0, unit="mm/V", gain_rel_u=0.004)
    assert send(site, 1, "calibration.damper_fl", do="clear").status_code == 303
    assert send(site, 1, "rear.heave_table", do="clear").status_code == 303
    car = newest(site, 1)[1].car
    assert (car.rear.heave_table, dict(car.calibration)) == ((), {})
    assert send(site, 1, "calibration", role="damper_rr", table="0 0\n5 50").status_code == 303
    assert newest(site, 1)[1].car.calibration["damper_rr"].table == ((0.0, 0.0), (5.0, 50.0))


def test_day_venue_and_weather(site: Site) -> None:
    facts = {
        "name": "Shakedown, run again",
        "date": "2026-04-12",
        "speed": "72",
        "notes": "wet\nthen dry",
        "timezone": "",
    }
    assert send(site, 1, "day", **facts).status_code == 303
    assert send(site, 1, "venue", heading="262", grade="0,15", altitude="24").status_code == 303
    assert (
        send(
            site, 1, "weather", time="16:30", pressure="1007,1", temperature="10", wind="2", **{"from": "250"}
        ).status_code
        == 303
    )
    assert send(site, 1, "weather.1", temperature="11,5").status_code == 303
    day = newest(site, 1)[1]
    assert (day.name, str(day.date), day.reference_speed_mps, day.notes, day.timezone) == (
        "Shakedown, run again", "2026-04-12", 20.0, "wet\nthen dry", None
    )  # fmt: skip
    assert day.venue.grade is not None
    assert day.venue.grade.value == 0.0015
    assert [(one.clock_s, one.temperature_k.value) for one in day.weather] == [(57_600.0, 284.65), (59_400.0, 283.15)]
    assert send(site, 1, "weather.1", do="clear").status_code == 303
    assert [one.clock_s for one in newest(site, 1)[1].weather] == [59_400.0]


# Setups


def test_a_setup_is_added_changed_while_nobody_drove_it_and_revised_once_it_was(site: Site) -> None:
    added = {
        "name": "D",
        "baseline": "A",
        "front_height": "30,5",
        "parts": "rear_flap_deg = 25,5\ngurney = yes\nnose = long",
    }
    assert send(site, 2, "setup", **added).status_code == 303
    setup = newest(site, 2)[1].setups[-1]
    assert (setup.name, setup.baseline, setup.front_ride_height_m) == ("D", "A", 0.0305)
    assert setup.parts == {"rear_flap_deg": 25.5, "gurney": True, "nose": "long"}
    assert send(site, 2, "setup.4", scz_front="1,6", scz_front_source="predicted").status_code == 303
    day = newest(site, 2)[1]
    assert plain(day.setups[-1].scz_front_m2) == {"value": 1.6, "u": pytest.approx(0.16), "source": "predicted"}
    form = form_of(day, "setup.1")
    assert (form.title, form.fields[0].value) == ("Revise setup A", "E")
    assert [value for value, _ in form.fields[-1].options] == ["1", "3", "5"]
    assert send(site, 2, "setup.1", rear_height="40", runs=["3", "5"], reason="packer found").status_code == 303
    day = newest(site, 2)[1]
    assert [(run.number, run.setup) for run in day.runs] == [(1, "A"), (2, "B"), (3, "E"), (4, "C"), (5, "E")]
    assert [setup.name for setup in day.setups] == ["A", "B", "C", "D", "E"]
    assert day.setups[0].rear_ride_height_m != day.setups[-1].rear_ride_height_m == 0.04


def test_names_proposed_for_revised_setups(tmp_path: Path) -> None:
    named = MINIMAL + 'setup = "low drag"\n'
    assert form_of(read(tmp_path / "one", named), "setup.1").fields[0].value == "low drag 2"
    lettered = MINIMAL + 'setup = "Z"\n'
    assert form_of(read(tmp_path / "two", lettered), "setup.1").fields[0].value == "Z 2"


# Two persons, several days


def test_who_saw_an_older_revision_gets_one_sentence_and_keeps_what_was_typed(site: Site) -> None:
    stale = filled(site, 1, "mass_kg", value="238")
    assert send(site, 1, "mass_kg", value="237").status_code == 303
    answer = site.client.post("/days/1/car/mass_kg", data=stale)
    assert problem(answer) == "Somebody changed this day meanwhile (revision 2); look at it, then try again."
    assert 'value="238"' in answer.text
    assert newest(site, 1)[1].car.mass_kg.value == 237.0
    again = site.client.post("/days/1/car/mass_kg", data=dict(Fields(answer.text).sent))
    assert again.status_code == 303
    assert newest(site, 1)[1].car.mass_kg.value == 238.0


def test_a_mass_is_corrected_on_all_days_that_have_the_same(site: Site, tmp_path: Path) -> None:
    keep(site, make(tmp_path / "other", MINIMAL), tmp_path)
    page = site.client.get("/days/2/car/mass_kg").text
    assert re.findall(r'name="also" value="(\d+)"', page) == ["1"]
    assert send(site, 2, "mass_kg", value="237", also=["1"]).status_code == 303
    assert [newest(site, day)[1].car.mass_kg.value for day in (1, 2, 3)] == [237.0, 237.0, 236.0]
    with site.app.state.archive.database.reading() as session:
        lanes = {job.day_id: job.lane for job in session.scalars(select(Job)) if job.kind == REFIT_JOB}
    assert lanes == {2: "quick", 1: "long"}


def test_a_day_that_went_its_own_way_is_left_and_said(site: Site) -> None:
    form = filled(site, 2, "mass_kg", value="237", also=["1"])
    assert send(site, 1, "mass_kg", value="240").status_code == 303
    answer = site.client.post("/days/2/car/mass_kg", data=form)
    assert answer.status_code == 200
    assert "Day 1 stays as it was: another value stands there by now." in answer.text
    assert [newest(site, day)[1].car.mass_kg.value for day in (1, 2)] == [240.0, 237.0]


def test_cars_show_that_the_mass_changed(site: Site) -> None:
    before = unescape(site.client.get("/cars").text)
    assert "1 car on 2 test days; nothing differs from one day to the next." in before
    assert send(site, 2, "mass_kg", value="239").status_code == 303
    page = unescape(site.client.get("/cars").text)
    assert "what changed last, on 2026-05-09: mass of Wisp 5 now 239.00 ± 0.98 kg." in page
    assert page.count(">changed<") == 1
    assert "Wheelbase: on 1 of 2 days" in page


def test_names_with_markup_are_text(site: Site) -> None:
    assert send(site, 1, "name", value="<img src=x>").status_code == 303
    assert send(site, 1, "setup", name="<i>", parts="<b> = <u>").status_code == 303
    for path in ("/days/1/car", "/cars", "/days/1/car/setup.2"):
        page = site.client.get(path).text
        for tag in ("<img src", "<i>", "<b> =", "<u>"):
            assert tag not in page


def test_the_old_result_stands_and_the_day_says_what_moved(site: Site, tmp_path: Path) -> None:
    assert send(site, 1, "mass_kg", value="237").status_code == 303
    archive = site.app.state.archive
    write_result(made_up_day_result("A", seed=9), tmp_path / "new.zip")
    with archive.database.writing() as session:
        keep_result(archive, session, newest_revision(session, 1), tmp_path / "new.zip")
    for path in ("/days/1/car", "/days/1/result"):
        page = unescape(site.client.get(path).text)
        assert "By “mass: 236.00 ± 0.98 kg → 237.00 ± 0.98 kg”" in page
        assert "Superseded, not overwritten" in page
        assert 'href="/days/1/results/1"' in page
    old = unescape(site.client.get("/days/1/results/1").text)
    assert "was superseded and is kept as it was" in old
    assert "SCx" in old
    assert "This is the day's newest result" in site.client.get("/days/1/results/3").text
    assert site.client.get("/days/1/results/2").status_code == 404  # another day's
