"""Pages over a kept result."""

from __future__ import annotations

import csv
import io
import re

import pytest

from server.figures.catalogue import PLOTS
from server.help.topics import TOPICS
from server.results.pages import FIGURE_WORDS, SECTIONS
from server.testday.findings import CODES
from tests.web.conftest import Site


def test_empty_page_teaches(site: Site) -> None:
    text = site.client.get("/").text
    assert "No test day is here yet" in text
    assert 'href="/add"' in text
    assert "Closed course" in text


def test_day_opens_with_its_sentence(shown: Site) -> None:
    text = re.sub(r"<[^>]+>", "", shown.client.get("/days/1/result").text)
    assert re.search(r"Setup A: SCx 1\.520 ± 0\.041 m² from 8 coast-downs\.", text)
    assert "B against A: SCx −0.140 ± 0.034 m² (p &lt; 0.001): less drag than A." in text
    assert text.index("Setup A: SCx") < text.index("Estimates")


def test_day_shows_everything_that_the_result_holds(shown: Site) -> None:
    text = shown.client.get("/days/1/result").text
    for words in (
        "turned down:",
        "default",
        "downforce-assumed",
        "16 coast-downs used",
        "79.2 km/h",
        "1009.0 hPa",
    ):
        assert words in text
    assert text.count('class="turned-down"') == 2
    assert "u 0.021 m²; 95 %: 1.479 to 1.562; measured on this day" in text


def test_the_wanted_interval_changes_the_sentence(shown: Site) -> None:
    near = re.sub(r"<[^>]+>", "", shown.client.get("/days/1/result?wanted=0.037").text)
    assert re.search(r"about \w+ more each way would reach the wanted ± 0\.037 m²", near)
    wide = re.sub(r"<[^>]+>", "", shown.client.get("/days/1/result?wanted=0.05").text)
    assert "that is within the wanted ± 0.05 m²" in wide
    assert shown.client.get("/days/1/result?wanted=-1").status_code == 422


@pytest.mark.parametrize("section", SECTIONS)
def test_each_part_has_an_address(shown: Site, section: str) -> None:
    answer = shown.client.get(f"/days/2/result/{section}")
    assert answer.status_code == 200
    assert SECTIONS[section] in answer.text


@pytest.mark.parametrize("name", FIGURE_WORDS)
def test_each_figure_has_a_picture_a_table_and_a_csv(shown: Site, name: str) -> None:
    picture = shown.client.get(f"/days/1/figures/{name}.json").json()
    assert picture["figure"]["data"]
    answer = shown.client.get(f"/days/1/figures/{name}.csv")
    rows = list(csv.reader(io.StringIO(answer.text)))
    assert answer.headers["content-disposition"] == f'attachment; filename="day-1-{name}.csv"'
    assert len(rows) > 1
    page = shown.client.get(f"/days/1/figures/{name}/table").text
    piece = shown.client.get(f"/days/1/figures/{name}/table", headers={"HX-Request": "true"}).text
    assert page.count("<tr>") == piece.count("<tr>") == len(rows)
    assert "<html" in page
    assert "<html" not in piece


def test_every_figure_is_on_a_page() -> None:
    assert set(FIGURE_WORDS) == set(PLOTS)


@pytest.mark.parametrize(
    "path", ["/days/77/result", "/days/1/result/nonsense", "/days/1/figures/none.json", "/x", "/help/x", "/jobs/x"]
)
def test_what_does_not_exist_is_said_so(shown: Site, path: str) -> None:
    page = shown.client.get(path)
    assert page.status_code == 404
    assert "<h1" in page.text
    answer = shown.client.get(path, headers={"Accept": "application/json"})
    assert set(answer.json()) == {"error"}
    assert answer.json()["error"].endswith(".")


@pytest.mark.parametrize("topic", TOPICS)
def test_help_has_every_topic(shown: Site, topic: str) -> None:
    assert f'href="/help/{topic}"' in shown.client.get("/help").text
    assert TOPICS[topic] in shown.client.get(f"/help/{topic}").text


def test_help_lists_every_finding_code(shown: Site) -> None:
    text = shown.client.get("/help/findings").text
    assert [code for code in CODES if f'id="{code}"' not in text] == []


def test_every_page_leads_to_its_help_and_to_the_cautions(shown: Site) -> None:
    pages = {"/": "season", "/cars": "cars", "/history": "history", "/add": "add", "/days/1/result": "result"}
    for path, topic in pages.items():
        text = shown.client.get(path).text
        assert f'href="/help/{topic}"' in text
        assert 'href="/help/cautions"' in text


def test_links_of_every_page_lead_somewhere(shown: Site) -> None:
    """Every local link, followed once from the first page on."""
    seen, open_paths = set(), ["/"]
    while open_paths:
        path = open_paths.pop()
        answer = shown.client.get(path, follow_redirects=True)
        assert answer.status_code == 200, path
        if "text/html" in answer.headers["content-type"]:
            found = {link.partition("#")[0] for link in re.findall(r'(?:href|src)="(/[^"]*)"', answer.text)}
            open_paths += sorted(found - seen)
            seen |= found
    assert {"/days/1/result/budget", "/days/2/figures/passes.csv", "/web/styles/tokens.css"} <= seen
