"""A setup released to race: by words, with the numbers of then beside those of now; taken back with a reason."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.app import create_app
from server.days.release import NO_NAME, NO_REASON, NO_WORDS, release_setup, setup_code, standing_releases
from server.days.season import SetupKey
from server.people import WHO_COOKIE
from server.settings import Settings
from tests.results.test_compare_days_pages import DAYS, made, text_of
from tests.results.test_compare_pages import DAY
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of, keep_made_up

WORDS = "For the autocross; the balance at low ride height is not measured."


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with client_of(app) as client:
        keep_made_up(app.state.archive, made(DAYS[0]), tmp_path / "1", "Day 1", DAY)
        client.cookies.set(WHO_COOKIE, "Ada")
        yield Site(app, client, tmp_path)


def address(site: Site, place: int = 0) -> str:
    """Where the release of the setup in that row of the season stands."""
    return re.findall(r'href="(/season/release/[0-9a-f]{16})"', site.client.get("/").text)[place]


def test_a_release_stands_on_the_season_with_its_numbers_and_moves_with_none(site: Site, tmp_path: Path) -> None:
    there = address(site, 1)
    assert "B is not released" in text_of(site.client.get(there))
    assert site.client.post(there, data={"statement": WORDS}).status_code == 303
    page = text_of(site.client.get(there))
    assert re.search(r"Ada released B on \d{4}-\d\d-\d\d\. ", page)
    assert WORDS in page
    assert "moved since" not in page
    assert text_of(site.client.get("/")).count("released by Ada") == 1
    keep_made_up(site.app.state.archive, made(DAYS[1]), tmp_path / "2", "Day 2", DAY)
    assert "what is known of it has moved since" in text_of(site.client.get(there))
    with site.app.state.archive.database.reading() as session:
        (release,) = standing_releases(session).values()
        assert (release.name, release.statement) == ("B", WORDS)
        assert dict(release.told)["SCx"] == "1.380 ± 0.041 m²"


def test_it_is_taken_back_with_a_reason_and_both_stay_in_the_history(site: Site) -> None:
    there = address(site)
    site.client.post(there, data={"statement": WORDS})
    again = site.client.post(there, data={"statement": WORDS})
    assert (again.status_code, "is released already, by Ada" in again.text) == (422, True)
    short = site.client.post(f"{there}/back", data={"reason": "no"})
    assert (short.status_code, NO_REASON in short.text, ">no</textarea>" in short.text) == (422, True, True)
    assert site.client.post(f"{there}/back", data={"reason": "The flap's mount cracked."}).status_code == 303
    assert "is not released" in text_of(site.client.get(there))
    history = text_of(site.client.get("/history"))
    for words in ("setup released: A", "release taken back: A", "The flap&#39;s mount cracked."):
        assert words in history
    with site.app.state.archive.database.reading() as session:
        assert standing_releases(session) == {}


def test_numbers_that_moved_while_they_were_read_are_read_again_first(site: Site, tmp_path: Path) -> None:
    there = address(site, 1)
    form = {"statement": WORDS, "seen": seen_in(site.client.get(there).text)}
    keep_made_up(site.app.state.archive, made(DAYS[1]), tmp_path / "2", "Day 2", DAY)
    refused = site.client.post(there, data=form)
    assert (refused.status_code, "moved while it was read" in refused.text) == (422, True)
    assert f">{WORDS}</textarea>" in refused.text
    assert "B is not released" in text_of(site.client.get(there))
    assert site.client.post(there, data=form | {"seen": seen_in(refused.text)}).status_code == 303


def test_a_released_setup_that_is_recorded_otherwise_now_is_still_told_and_can_be_taken_back(site: Site) -> None:
    """A corrected ride height makes it another setup; the release of the one before must not be lost to sight."""
    key = SetupKey("A-04", "Low drag", (30.0, 32.0), (), 22.2)
    with site.app.state.archive.database.writing() as session:
        release_setup(session, key, statement=WORDS, told={"SCx": "1.380 ± 0.041 m²"}, who="Ada")
    there = f"/season/release/{setup_code(key)}"
    season = site.client.get("/").text
    assert f'href="{there}"' in season
    assert re.search(r"Low drag of A-04 ?, released by Ada", text_of(site.client.get("/")))
    page = text_of(site.client.get(there))
    assert "no setup with results is recorded just so now" in page
    assert "front ride height 30 mm" in page
    assert "1.380 ± 0.041 m²" in page
    back = site.client.post(f"{there}/back", data={"reason": "Its ride height was corrected."})
    assert (back.status_code, back.headers["location"]) == (303, "/")
    assert there not in site.client.get("/").text
    assert site.client.get(there).status_code == 404


def seen_in(page: str) -> str:
    [found] = re.findall(r'name="seen" value="([0-9a-f]+)"', page)
    return str(found)


def test_without_words_a_name_or_a_setup_nothing_is_released(site: Site) -> None:
    there = address(site)
    refused = site.client.post(there, data={"statement": "ok"})
    assert (refused.status_code, NO_WORDS in refused.text, ">ok</textarea>" in refused.text) == (422, True, True)
    assert site.client.get("/season/release/0123456789abcdef").status_code == 404
    assert site.client.get("/season/release/elsewhere").status_code == 422
    assert site.client.post(f"{there}/back", data={"reason": WORDS}).status_code == 422
    site.client.cookies.delete(WHO_COOKIE)
    nobody = site.client.post(there, data={"statement": WORDS})
    assert (nobody.status_code, NO_NAME in nobody.text) == (422, True)
