"""The season's page over an archive: what it shows, its filters, its figure, days without a result."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.app import create_app
from server.archive.jobs import add_job
from server.archive.tables import Job
from server.days.changes import Change, change_day
from server.days.revisions import revise_day
from server.days.tables import RevisionFacts
from server.settings import Settings
from server.testday.values import Day
from tests.benchmarks.full_archive import fill
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """36 days over two calendar years, two cars, four runs each."""
    folder = tmp_path_factory.mktemp("season")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        fill(app.state.archive, folder / "scratch", 36, 4)
        yield Site(app, client, folder / "data")


def words(site: Site, path: str) -> str:
    return re.sub(r"<[^>]+>", "", site.client.get(path).text).replace("\N{NO-BREAK SPACE}", " ")


def test_the_sentence_counts_the_newest_season(season: Site) -> None:
    text = words(season, "/")
    assert "8 test days, 32 runs, 8 setups in 2024. Of the newest day that was fitted, Day 35" in text
    assert re.search(r"A at 1\.\d+ ± 0\.\d+ m² from \d days", text)


def test_seasons_and_cars_are_chosen_by_the_address(season: Site) -> None:
    assert "28 test days" in words(season, "/?year=2023")
    assert "36 test days, 144 runs" in words(season, "/?year=all")
    one = words(season, "/?year=all&car=Wisp+5")
    assert "18 test days, 72 runs, 4 setups in all seasons of Wisp 5" in one
    assert season.client.get("/?year=soon").status_code == 404
    page = season.client.get("/?year=2023&car=Wisp+5").text
    assert 'href="/?year=all&amp;car=Wisp+5"' in page
    assert 'href="/?year=2023&amp;car=Wisp+6"' in page


def test_parts_that_differ_under_one_name_are_said(season: Site) -> None:
    text = words(season, "/?year=all&car=Wisp+5")
    assert "told apart and not combined: A, B, C, D" in text
    assert "rear flap 34°" in text
    assert "A·2" in text


def test_every_open_finding_stands_with_its_day_and_code(season: Site) -> None:
    page = season.client.get("/").text
    assert page.count('href="/help/findings#downforce-assumed"') == 8
    assert "default-used" not in page


@pytest.mark.parametrize("name", ["timeline"])
def test_the_figure_has_its_picture_its_table_and_its_csv_of_what_is_chosen(season: Site, name: str) -> None:
    page = season.client.get("/?year=2023&car=Wisp+5").text
    assert f'data-plot="/season/figures/{name}.json?year=2023&amp;car=Wisp+5"' in page
    there = f"/season/figures/{name}"
    assert season.client.get(f"{there}.json?year=2023&car=Wisp+5&narrow=true").json()["figure"]["data"]
    rows = list(csv.reader(io.StringIO(season.client.get(f"{there}.csv?year=2023&car=Wisp+5").text)))
    assert len(rows) == 1 + 14 * 4
    assert {row[2] for row in rows[1:]} == {"Wisp 5"}
    table = season.client.get(f"{there}/table?year=2023&car=Wisp+5")
    assert table.text.count("<tr>") == len(rows)
    assert season.client.get("/season/figures/none.json").status_code == 404
    assert season.client.get("/season/figures/timeline-of-c0.csv").status_code == 404


def test_no_file_is_opened_for_the_list(season: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    season.client.get("/")
    refuse = pytest.fail
    monkeypatch.setattr("server.days.facts.stored_day", lambda *_: refuse("a folder was read"))
    monkeypatch.setattr("server.results.service.result_from_bytes", lambda *_: refuse("a result was read"))
    for path in ("/?year=all", "/cars", "/search?q=gust"):
        assert season.client.get(path).status_code == 200


def test_facts_that_nobody_kept_are_made_at_the_first_look(season: Site) -> None:
    with season.app.state.archive.database.writing() as session:
        session.query(RevisionFacts).delete()
    assert "28 test days, 112 runs" in words(season, "/?year=2023")
    with season.app.state.archive.database.reading() as session:
        assert session.query(RevisionFacts).count() == 36


@pytest.fixture
def changed(tmp_path: Path) -> Iterator[Site]:
    """Two days, the second of them changed since it was fitted; nothing fits it again."""
    app = create_app(Settings(data_folder=tmp_path / "data"), {})
    app.state.jobs.start = lambda: None
    with client_of(app) as client:
        fill(app.state.archive, tmp_path / "scratch", 2, 2)

        def rename(day: Day) -> Change:
            return change_day(day, name="Day <i>one</i>")

        revise_day(app.state.archive, 2, rename, who="Ana")
        yield Site(app, client, tmp_path / "data")


@pytest.mark.parametrize(
    ("state", "error", "said"),
    [
        ("queued", None, "waits"),
        ("failed", "logs/run01.csv stops in <b>line</b> 5.", "logs/run01.csv stops in &lt;b&gt;line&lt;/b&gt; 5."),
        ("cancelled", "called off", "called off"),
    ],
)
def test_a_day_without_its_result_says_why_and_what_to_do(changed: Site, state: str, error: str, said: str) -> None:
    with changed.app.state.archive.database.writing() as session:
        session.query(Job).update({"state": state, "error": error})
    page = changed.client.get("/").text
    part = page[page.index("Without a result") :]
    assert "Day &lt;i&gt;one&lt;/i&gt;" in part
    assert said in part
    # What the earlier form gave stays in the timeline until then.
    assert "Day &lt;i&gt;one&lt;/i&gt;" in changed.client.get("/season/figures/timeline/table").text


def test_a_day_that_is_fitted_is_not_among_them(changed: Site) -> None:
    page = changed.client.get("/").text
    part = page[page.index("Without a result") : page.index("All days")]
    assert "Day 0" not in part


def test_a_job_of_another_kind_is_no_reason(changed: Site) -> None:
    with changed.app.state.archive.database.writing() as session:
        session.query(Job).delete()
        add_job(session, "study", "a study", {}, day_id=2).state = "failed"
    part = changed.client.get("/").text
    assert "not fitted" in part[part.index("Without a result") :]
