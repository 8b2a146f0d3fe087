"""Finding things again, and the way from a number to its raw file."""

from __future__ import annotations

import hashlib
import html
import re
from collections.abc import Iterator

import pytest

from server.app import create_app
from server.archive.events import record
from server.days.changes import change_run
from server.days.revisions import revise_day
from server.search.words import excerpt, words_of
from server.settings import Settings
from tests.benchmarks.full_archive import fill
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder = tmp_path_factory.mktemp("full")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        fill(app.state.archive, folder / "scratch", 6, 3)
        with app.state.archive.database.writing() as session:
            record(session, who="<b>Ana</b>", kind="run-moved", subject="run 3", before="A", after="B", reason="50 %_x")
        yield Site(app, client, folder / "data")


def groups(site: Site, q: str) -> dict[str, list[str]]:
    """Heading → the addresses found under it."""
    page = site.client.get("/search", params={"q": q}).text
    parts = re.split(r'<h2 class="entry-name">', page)[1:]
    found = {part.partition("<")[0]: re.findall(r'roomy" href="([^"]+)"', part) for part in parts}
    return {title: [html.unescape(address) for address in addresses] for title, addresses in found.items()}


@pytest.mark.parametrize(
    ("q", "kind", "address"),
    [
        ("day 3, made", "Days", "/days/4"),
        ("long APRON", "Days", "/days/1"),
        ("wisp 6", "Cars", "/cars"),
        ("rear_flap 34", "Setups and their parts", "/days/5/car"),
        ("setup c", "Setups and their parts", "/days/1/car"),
        ("outing 2 gust", "Runs", "/days/1/runs/2"),
        ("downforce-assumed", "Findings", "/days/1/result/findings"),
        ("testday.toml", "Files", "/days/1/revisions/1"),
        ("run-moved", "Events", "/history/13"),
        ("student's t", "Help", "/help/season"),
    ],
)
def test_each_kind_of_thing_is_found(full: Site, q: str, kind: str, address: str) -> None:
    found = groups(full, q)
    assert address in found[kind]
    assert full.client.get(address, follow_redirects=True).status_code == 200


def test_a_setup_of_one_letter_is_not_found_in_every_word(full: Site) -> None:
    assert "Setups and their parts" not in groups(full, "e")
    assert len(groups(full, "setup d")["Setups and their parts"]) == 6


def test_a_file_is_found_by_the_start_of_its_hash_and_so_is_a_result(full: Site) -> None:
    page = full.client.get("/days/1/revisions/1").text
    digest = re.findall(r"<td><code>([0-9a-f]{64})</code>", page)[0]
    assert groups(full, digest[:8])["Files"] == ["/days/1/revisions/1"]
    assert groups(full, digest.upper())["Files"] == ["/days/1/revisions/1"]
    assert "Files" not in groups(full, digest[:4])
    result = re.search(r"kept as <code>([0-9a-f]{64})", full.client.get("/days/1/results/1/origin").text)
    assert result
    assert len(groups(full, result.group(1))["Results"]) == 6


def test_signs_of_the_search_language_are_looked_for_as_themselves(full: Site) -> None:
    assert "Events" in groups(full, "50 %_x")
    assert groups(full, "%%%") == {}
    assert groups(full, "r_n") == {}  # a sign that stands for any other would find every run


def test_markup_is_shown_as_text(full: Site) -> None:
    page = full.client.get("/search", params={"q": "<b>ana</b>"}).text
    assert "&lt;b&gt;Ana&lt;/b&gt;" in page
    assert "<b>Ana" not in page
    assert "<b>ana" not in page


def test_without_words_it_says_what_can_be_looked_for(full: Site) -> None:
    assert "start of a SHA-256" in full.client.get("/search").text
    assert "Nothing here holds “zzzz”" in full.client.get("/search?q=zzzz").text
    assert full.client.get("/search", params={"q": "x" * 201}).status_code == 422


def test_every_page_has_the_form(full: Site) -> None:
    for path in ("/", "/cars", "/history", "/days/1/result", "/help"):
        assert 'role="search" action="/search"' in full.client.get(path).text


def test_all_words_must_occur_in_any_case() -> None:
    words = words_of("  Gust  ÄRGER ")
    assert words.in_text("ein Ärger", "with a GUST")
    assert not words.in_text("with a gust")


def test_an_excerpt_is_about_the_word() -> None:
    text = "a " * 200 + "needle" + " b" * 200
    assert "needle" in excerpt(text, words_of("needle"))
    assert len(excerpt(text, words_of("needle"))) < 170


def test_an_events_before_and_after_stand_beside_each_other(full: Site) -> None:
    def note(day):  # type: ignore[no-untyped-def]
        return change_run(day, 1, notes="Tape <lost>")

    revise_day(full.app.state.archive, 1, note, who="Bo", reason="seen later")
    page = full.client.get("/history").text
    number = re.findall(r'href="/history/(\d+)"', page)[0]
    event = full.client.get(f"/history/{number}").text
    assert "Outing 1: a gust at the far end, tape checked." in event
    assert "Tape &lt;lost&gt;" in event
    assert "seen later" in event
    assert "The seal is that of these words" in event
    assert f'href="/history/{int(number) - 1}"' in event
    assert full.client.get("/history/9999").status_code == 404
    # The revision that the change led to leads to that event, and to the file that it brought.
    revision = full.client.get("/days/1/revisions/2").text
    assert f'href="/history/{number}"' in revision
    assert "<td class=\"number\">2</td>" in revision


def test_a_result_leads_to_its_files_and_their_hashes(full: Site) -> None:
    page = full.client.get("/days/3/origin", follow_redirects=True)
    assert page.url.path == "/days/3/results/3/origin"
    digest = re.findall(r"<td><code>([0-9a-f]{64})</code>", page.text)[0]
    kept = full.app.state.archive.raw.path(digest).read_bytes()
    assert hashlib.sha256(kept).hexdigest() == digest
    assert b"Day 2, made up" in kept
    assert 'href="/days/3/revisions/1"' in page.text
    assert "SCx 1.5" in page.text
    assert re.search(r'href="/history/\d+">event', page.text)
    assert full.client.get("/days/3/results/1/origin").status_code == 404


def test_events_are_chosen_by_a_days_name(full: Site) -> None:
    page = full.client.get("/history?day=2").text
    assert '<option value="2" selected>Day 1, made up, 2023-03-15</option>' in page
    assert "day added: Day 1, made up" in page
    assert "day added: Day 2, made up" not in page
