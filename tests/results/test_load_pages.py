"""The page of a day with axle loads; a day without them looks as it did."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
from collections.abc import Iterator

import httpx
import pytest

from server.app import create_app
from server.figures.catalogue import LOAD_PLOTS
from server.results.figure_words import LOAD_FIGURE_WORDS
from server.results.page_figures import NEEDS
from server.results.pages import SECTIONS
from server.settings import Settings
from server.testday.values import Finding
from tests.results.made_loads import loaded_day
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up

BARE, LOADED, MANY = 1, 2, 3
NEW_SECTIONS = ("loads", "downforce", "heights", "stands")


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    folder = tmp_path_factory.mktemp("shown")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    bare = made_up_day_result("AB")
    down = tuple(dataclasses.replace(bare.setups[0].passes[-2], start_s=500.0 + i) for i in range(23))
    setup = dataclasses.replace(bare.setups[0], passes=(*bare.setups[0].passes, *down))
    notes = tuple(Finding("default-used", "note", f"No value {i} was given.") for i in range(14))
    many = dataclasses.replace(bare, setups=(setup, *bare.setups[1:]), findings=notes)
    with client_of(app) as client:
        for number, result in ((BARE, bare), (LOADED, loaded_day("AB")), (MANY, many)):
            assert keep_made_up(app.state.archive, result, folder / str(number), f"Day {number}") == number
        yield client


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", html))


def test_every_load_figure_has_words() -> None:
    assert set(LOAD_FIGURE_WORDS) == set(LOAD_PLOTS)
    assert set().union(*NEEDS.values()) <= set(LOAD_PLOTS)
    assert set(NEW_SECTIONS) <= set(SECTIONS)


def test_a_day_without_loads_shows_no_place_for_them(client: httpx.Client) -> None:
    page = client.get(f"/days/{BARE}/result").text
    assert not [name for name in NEW_SECTIONS if f'id="{name}"' in page or f"/{name}" in page.replace("/help/", "")]
    assert not [name for name in LOAD_PLOTS if f"figures/{name}" in page]
    assert 'class="choices"' not in page
    assert client.get(f"/days/{BARE}/figures/axle-loads.json").status_code == 404


def test_its_parts_teach_what_to_do_when_asked_for(client: httpx.Client) -> None:
    for section in NEW_SECTIONS:
        answer = client.get(f"/days/{BARE}/result/{section}")
        assert answer.status_code == 200
        assert 'href="/help/' in answer.text.partition('id="main"')[2]
    assert "No axle load was logged on this day" in client.get(f"/days/{BARE}/result/loads").text
    along = client.get(f"/days/{BARE}/result/findings").text.partition('class="along"')[2]
    assert f"/days/{BARE}/result/passes" in along
    assert f"/days/{BARE}/result/loads" not in along


def test_the_sentence_comes_first_and_holds_what_the_car_makes(client: httpx.Client) -> None:
    text = text_of(client.get(f"/days/{LOADED}/result").text)
    first = text.index(
        "Setup A: SCx 1.520 ± 0.041 m², SCz 3.550 ± 0.078 m², 45.63 ± 0.78 % front, L/D 2.336 ± 0.069 at "
        "22 m/s (79 km/h), riding at 26.8 ± 1.0 mm front, 30.1 ± 1.1 mm rear, from 8 coast-downs and 2 constant-speed"
    )
    places = [
        first,
        text.index("Setup B: SCz changes with ride height"),
        text.index("B against A: SCz −0.020"),
        text.index("Estimates"),
    ]
    assert places == sorted(places)


def test_everything_of_the_loads_is_on_the_page(client: httpx.Client) -> None:
    page = client.get(f"/days/{LOADED}/result").text
    for name in LOAD_PLOTS:
        assert f"figures/{name}.json" in page
    text = text_of(page)
    for words in (
        "Speed at which downforce equals weight",
        "Ride height, front axle",
        "damper travel over ride height",
        "apart by 4.6 u",
        "Driveline drag T0",
        "no bend of SCz over the ride heights visited can be told",
        "Loads by damper travel and ride height.",
        "that is beyond the 97 km/h that was driven",
        "16 coast-downs and 4 constant-speed passes used",
        "−3.71 ± 0.59 points",
    ):
        assert words in text, words
    for bad in ("nan", "None"):
        assert not re.search(rf"\b{bad}\b", text)


@pytest.mark.parametrize("name", [*LOAD_PLOTS, "axle-loads-of-ride-height", "budget-of-LD", "comparisons-of-SCz"])
def test_each_has_a_picture_a_table_and_a_csv(client: httpx.Client, name: str) -> None:
    assert client.get(f"/days/{LOADED}/figures/{name}.json").json()["figure"]["data"]
    answer = client.get(f"/days/{LOADED}/figures/{name}.csv")
    rows = list(csv.reader(io.StringIO(answer.text)))
    assert answer.headers["content-disposition"] == f'attachment; filename="day-{LOADED}-{name}.csv"'
    assert len(rows) > 1
    assert client.get(f"/days/{LOADED}/figures/{name}/table").text.count("<tr>") == len(rows)


def test_a_budgets_quantity_is_chosen_by_plain_links(client: httpx.Client) -> None:
    page = client.get(f"/days/{LOADED}/result/budget").text
    links = re.findall(r'class="choice"[^>]* href="([^"]+)"', page)
    assert len(links) == 6
    assert page.count('aria-current="true"') == 1
    chosen = client.get(next(link for link in links if link.endswith("balance_front"))).text
    assert "contribution to u(balance)" in chosen
    assert "Contributions to u(balance)." in chosen
    assert "0.26 points" in chosen
    assert f"/days/{LOADED}/figures/budget-of-balance_front.json" in chosen
    assert re.search(r'id="show-budget-of-balance_front"[^>]*aria-current="true"', chosen)


@pytest.mark.parametrize("show", ["budget-of-nothing", "axle-loads-of-push-rod", "x"])
def test_what_cannot_be_shown_is_said_so(client: httpx.Client, show: str) -> None:
    answer = client.get(f"/days/{LOADED}/result/budget?show={show}")
    assert answer.status_code == 404
    assert "This result has no figure called" in answer.text


def test_many_turned_down_stretches_are_folded(client: httpx.Client) -> None:
    page = client.get(f"/days/{MANY}/result/passes").text
    assert "25 stretches turned down, and why" in text_of(page)
    before, _, after = page.partition('<details class="fold">')
    assert before.count('class="turned-down"') == 0
    assert after.count('class="turned-down"') == 25
    few = client.get(f"/days/{BARE}/result/passes").text
    assert '<details class="fold">' not in few
    assert few.count('class="turned-down"') == 2


def test_many_notes_of_one_code_are_folded(client: httpx.Client) -> None:
    page = client.get(f"/days/{MANY}/result/findings").text
    assert page.count('class="finding"') == 1
    assert "14 notes: A property of the car" in text_of(page)
    assert "No value 13 was given." in page


def test_links_of_the_day_lead_somewhere(client: httpx.Client) -> None:
    for path in (f"/days/{LOADED}/result", *(f"/days/{LOADED}/result/{section}" for section in SECTIONS)):
        page = client.get(path)
        assert page.status_code == 200
        for link in set(re.findall(r'(?:href|hx-get)="(/(?:days|help)[^"]*)"', page.text)):
            assert client.get(link.partition("#")[0], follow_redirects=True).status_code == 200, link
