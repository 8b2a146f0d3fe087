"""Photos elsewhere: on the page of their run, from the page of the day, found by words."""

from __future__ import annotations

from tests.tufts.tuft_site import entry, mark, photo
from tests.web.conftest import Site


def test_a_run_shows_its_photos(shared: Site) -> None:
    number = photo(shared, "wing.jpg", run=2)
    mark(shared, number, entry(5, 6, direction_rad=0.1, condition="reversed"))
    mine, other = (shared.client.get(f"/days/1/runs/{run}").text for run in (2, 1))
    assert f"/days/1/tufts/{number}/picture/screen" in mine
    assert "run 2, left rear: 1 tuft by Ana" in mine
    assert "is-reversed" in mine
    assert "No photo was taken of this run yet" in other


def test_the_day_leads_to_its_tufts(shared: Site) -> None:
    assert 'href="/days/1/tufts"' in shared.client.get("/days/1").text


def test_notes_parts_and_views_are_found(shared: Site) -> None:
    number = photo(shared, "floor.jpg", seed=3, part="floor edge", view="under", notes="Tape came off at row three")
    for words in ("tape row", "FLOOR edge", "under", "floor.jpg"):
        page = shared.client.get("/search", params={"q": words}).text
        assert f'href="/days/1/tufts/{number}"' in page, words
    shared.client.post(f"/api/days/1/photos/{number}", json={"removed": True})
    assert f'href="/days/1/tufts/{number}"' not in shared.client.get("/search", params={"q": "tape row"}).text
