"""Pages over a full archive, ten seasons with 100 days of 50 runs and 20,000 events, against reading the same rows
alone, in the same run.

Times are processor seconds of the whole program, so what else the machine does is not in them; the answer goes
through the real server, the client's share is in the page's time. Milliseconds are printed with -s.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import text

from server.app import create_app
from server.archive.archive import Archive
from server.settings import Settings
from tests.benchmarks.full_archive import CARS, DAYS, RUNS, TEN_SEASONS, add_history, fill, predictions_table
from tests.ratios import settled, times_in_turn
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of

ROUNDS = 24
# p95 of a page over p95 of reading and parsing all rows of days, results and facts.
MOST = {
    "/": 6.0,
    "/?year=all": 5.0,
    "/cars": 2.0,
    "/search?q=flap+34": 5.0,
    "/search?q=gust+outing": 6.0,
    "/season/figures/timeline.json?year=all": 5.0,
    "/history": 3.0,
    "/history?who=Ana&about=run&name=7&day=50": 3.0,
    "/history?about=setup&name=B&page=40": 3.0,
    "/correlation?car=Wisp+5": 5.0,
}


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder = tmp_path_factory.mktemp("full")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        fill(app.state.archive, Path(folder / "scratch"), when=TEN_SEASONS)
        add_history(app.state.archive)
        sent = {"car": CARS[0], "name": "July", "table": predictions_table()}
        assert client.post("/api/predictions", json=sent, headers={"X-Stillair-Who": "Ana"}).status_code == 201
        gc.collect()
        gc.freeze()  # as where the server starts: what was imported is not looked through again
        yield Site(app, client, folder / "data")


def rows_alone(archive: Archive) -> None:
    """All that lists are made of, read and parsed by SQLite's and Python's own JSON, and nothing else."""
    with archive.database.reading() as session:
        for (kept,) in session.execute(text("SELECT summary FROM results")):
            json.loads(kept)
        for row in session.execute(text("SELECT brief, runs, given FROM revision_facts")):
            for kept in row:
                json.loads(kept)
        session.execute(text("SELECT * FROM days")).all()


@pytest.mark.parametrize("path", MOST)
def test_pages_are_quick_over_a_full_archive(full: Site, path: str) -> None:
    def page() -> None:
        assert full.client.get(path).status_code == 200

    def against_rows() -> float:
        times = times_in_turn(lambda: rows_alone(full.app.state.archive), page, rounds=ROUNDS)
        rows, pages = np.percentile(times, 95, axis=0)
        print(f"\n{path} of {DAYS} days x {RUNS} runs: p95 {1e3 * pages:.0f} ms, rows alone {1e3 * rows:.0f} ms")
        return float(pages / rows)

    page()
    assert settled(against_rows, MOST[path]) <= MOST[path]
