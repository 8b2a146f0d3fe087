"""Figures and forms of a run over its real logs: the pyramid against the samples, columns with roles, refusals kept."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest

from server.analysis.speed_pick import pick_speed
from server.archive.jobs import find_job
from server.days.column_choices import choices
from server.days.revisions import newest_day
from server.days.service import revision_files
from server.locations import sample_day_folders
from server.readers.load_day import load_day
from server.results.preview_job import PREVIEW_JOB, PassMove, preview_view, queue_preview
from server.runs.columns import columns_of
from server.runs.recordings import _read, _words, run_logs, samples_key
from server.testday.values import PassEdit
from tests.runs.test_pages import PASS, keep_sample, newest
from tests.web.conftest import Site, site

__all__ = ["site"]
RUN = "/days/1/runs/1"


@pytest.fixture
def read(site: Site, tmp_path: Path) -> Site:
    """The shakedown with a made-up result, the logs of its runs read."""
    keep_sample(site, tmp_path)
    archive = site.app.state.archive
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, 1)
        files = revision_files(session, revision.id)
    for run in day.runs:
        for one in run_logs(day, run, files):
            archive.samples.keep(one.key, _read(_words(one), tmp_path / f"log{run.number}", archive.raw))
    return site


def drawn(site: Site, address: str) -> list[dict[str, object]]:
    answer = site.client.get(f"{RUN}/figures/{address}")
    assert answer.status_code == 200, answer.text
    return [one for one in json.loads(answer.text)["figure"]["data"] if one.get("name") and one["mode"] == "lines"]


def numbers(site: Site, address: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(site.client.get(f"{RUN}/figures/{address}").text)))


def test_the_speed_is_that_of_the_fit_in_kmh(read: Site) -> None:
    folder = next(one for one in sample_day_folders() if "shakedown" in one.name)
    day = load_day(folder)
    source = pick_speed(day.runs[0], day.car)
    assert source is not None
    rows = numbers(read, "speed.csv?from=12&to=14")
    time_s = np.array([float(row["from [s]"]) for row in rows])
    wheel = day.runs[0].recordings[0].signals[source.roles[0]]
    inside = (wheel.time_s >= 12) & (wheel.time_s <= 14)
    np.testing.assert_allclose(time_s, wheel.time_s[inside])
    shown = [float(row["least"]) for row in rows]
    np.testing.assert_allclose(shown, 3.6 * wheel.values[inside], rtol=1e-6, atol=1e-6)


def test_any_channel_is_drawn_in_its_own_unit_and_an_unknown_one_is_refused(read: Site) -> None:
    one, two = (drawn(read, f"channels.json?channels={name}") for name in ("Brake+pressure", "Throttle"))
    assert (one[0]["name"], two[0]["name"]) == ("Brake pressure", "Throttle")
    both = numbers(read, "channels.csv?channels=Brake+pressure&channels=Throttle&from=1&to=2")
    assert {(row["channel"], row["unit"]) for row in both} == {("Brake pressure", "bar"), ("Throttle", "%")}
    assert all(1.0 <= float(row["from [s]"]) <= float(row["to [s]"]) <= 2.0 for row in both)
    refused = read.client.get(f"{RUN}/figures/channels.json?channels=nothing")
    assert (refused.status_code, "This run has no channel “nothing”." in refused.text) == (404, True)
    assert read.client.get(f"{RUN}/figures/speed.json?from=9&to=3").status_code == 422
    assert read.client.get(f"{RUN}/figures/nonsense.json").status_code == 404


def test_a_window_that_is_no_number_or_endless_changes_nothing(read: Site) -> None:
    assert read.client.get(f"{RUN}?from=abc").status_code == 422
    for endless in ("inf", "nan", "1e400"):
        assert read.client.get(f"{RUN}?from={endless}").status_code in (200, 422)


def test_what_was_turned_down_is_told_from_the_log(read: Site) -> None:
    """The made-up result turns 420 to 427.5 s down, which this log does not reach: nothing is drawn of it."""
    rows = numbers(read, "passes.csv")
    assert {row["used"] for row in rows} == {"used"}
    page = read.client.get(RUN).text
    assert "turned down: the brake was touched after 7.5 s; &lt;b&gt;traffic" in page


def test_the_table_of_passes_as_csv_and_for_the_clipboard(read: Site) -> None:
    rows = list(csv.reader(io.StringIO(read.client.get(f"{RUN}/passes.csv").text)))
    page = read.client.get(RUN).text
    copied = re.search(r'<textarea id="passes-tsv"[^>]*>\n(.*?)</textarea>', page, re.DOTALL)
    assert copied
    assert [line.split("\t")[0] for line in copied[1].split("\n")] == [row[0] for row in rows]
    assert rows[0][8:10] == ["own SCx [m²]", "u by its own noise [m²]"]
    assert len(rows) == 1 + page.count('<details><summary>pass ')


def test_a_column_is_given_a_role_for_one_run_and_remembered(read: Site) -> None:
    form = {"revision": "1", "column": "Heading", "was": "heading", "role": "air_yaw", "unit": "", "runs": "this"}
    refused = read.client.post(f"{RUN}/roles", data=form | {"unit": "kg"})
    assert refused.status_code == 422
    assert "The yaw of the air cannot be in kg" in refused.text
    assert 'name="unit" size="8" autocomplete="off" autocapitalize="none" value="kg"' in refused.text
    assert newest(read, 1)[0] == 1
    assert read.client.post(f"{RUN}/roles", data=form).status_code == 303
    number, day = newest(read, 1)
    assert number == 2
    assert [run.channels.get("air_yaw") for run in day.runs][:2] == ["Heading", None]
    archive = read.app.state.archive
    with archive.database.reading() as session:
        assert choices(session) == {"air_yaw": ["Heading"]}
    page = read.client.get(RUN).text
    assert "said for this run" in page
    assert "said for this run" not in read.client.get("/days/1/runs/2").text


def test_a_column_without_a_unit_that_is_known_asks_for_it(read: Site) -> None:
    """Throttle said to be the front left damper: in per cent it cannot be used, and the page says so first."""
    form = {"revision": "1", "column": "Throttle", "was": "throttle", "role": "damper_fl", "unit": "", "runs": "all"}
    assert read.client.post(f"{RUN}/roles", data=form).status_code == 303
    archive = read.app.state.archive
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, 1)
        logs = run_logs(day, day.runs[0], revision_files(session, revision.id))
    found = columns_of(archive, logs[0], day, day.runs[0], {})
    row = next(one for one in found.rows if one.name == "Throttle")
    assert (row.role, row.where, row.silent) == ("damper_fl", "day", True)
    assert found.rows[0] is row  # what asks stands first
    page = read.client.get(RUN).text
    assert "Say what a column below is in." in page
    assert "Column “Throttle”: what it is in is not known" in page


def test_notes_are_kept_and_a_late_form_is_refused_with_what_was_typed(read: Site) -> None:
    assert read.client.post(f"{RUN}/notes", data={"revision": "1", "notes": "rain <b>"}).status_code == 303
    assert newest(read, 1)[1].runs[0].notes == "rain <b>"
    late = read.client.post(f"{RUN}/notes", data={"revision": "1", "notes": "dry again"})
    assert late.status_code == 422
    assert "Somebody changed this day meanwhile (revision 2)" in late.text
    assert "dry again" in late.text
    assert "rain &lt;b&gt;" in read.client.get(RUN).text


def test_times_that_are_no_numbers_are_refused_beside_the_form(read: Site) -> None:
    page = read.client.get(RUN).text
    start, end = PASS.findall(page)[1]
    form = {"say": "use", "start_s": "soon", "end_s": end, "was_start_s": start, "was_end_s": end, "revision": "1"}
    refused = read.client.post(f"{RUN}/passes", data=form | {"reason": "kept words"})
    assert refused.status_code == 422
    assert "The start must be a number, not “soon”." in refused.text
    assert 'value="soon"' in refused.text
    assert 'value="kept words"' in refused.text
    assert read.client.post(f"{RUN}/preview", data=form).status_code == 422


def test_a_newer_preview_takes_an_older_ones_place_and_other_runs_are_left(read: Site) -> None:
    archive = read.app.state.archive
    edits = [PassEdit(131.0, 153.0 - k, True, "moved") for k in range(3)]
    moves = [PassMove(run, (130.0, 154.0), edit) for run, edit in zip((1, 2, 1), edits, strict=True)]
    with archive.database.writing() as session:
        revision, _ = newest_day(archive, session, 1)
        jobs = [queue_preview(archive, session, revision, move, "Ada") for move in moves]
        assert [find_job(session, job).state for job in jobs] == ["cancelled", "queued", "queued"]
        assert {find_job(session, job).kind for job in jobs} == {PREVIEW_JOB}
        shown = preview_view(session, 1, 1, jobs[0])
        assert (shown.open, shown.span) == (False, "131.0 to 153.0 s")
        for job in jobs:
            find_job(session, job).state = "cancelled"
    assert "called off" in read.client.get(f"{RUN}/preview/{jobs[0]}").text
    assert read.client.get(f"{RUN}/preview/{jobs[1]}").status_code == 404  # of another run
    assert newest(read, 1)[0] == 1


def test_samples_read_by_another_word_on_the_time_are_kept_apart() -> None:
    plain = "a" * 64
    keys = {samples_key(plain, None, None), samples_key(plain, "b" * 64, None), samples_key(plain, None, "t")}
    assert plain in keys
    assert len(keys) == 3


def test_a_run_whose_logs_nobody_looked_at_offers_to_read_them(site: Site, tmp_path: Path) -> None:
    keep_sample(site, tmp_path)
    page = site.client.get(RUN)
    assert "Read the logs" in page.text
    assert site.client.get(f"{RUN}/figures/speed.json").status_code == 422
