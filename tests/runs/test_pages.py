"""The page of a run over a real folder and a made-up result: what it says, and the words a person puts in."""

from __future__ import annotations

import re
from pathlib import Path

from server.days.revisions import newest_day
from server.days.service import IncomingDay, keep_day, newest_revision
from server.locations import sample_day_folders
from server.results.service import keep_result, write_result
from server.testday.values import Day
from tests.web.conftest import Site, site
from tests.web.made_up import made_up_day_result

__all__ = ["site"]
PASS = re.compile(r'name="was_start_s" value="([^"]+)"><input type="hidden" name="was_end_s" value="([^"]+)"')


def keep_sample(site: Site, scratch: Path) -> int:
    folder = next(one for one in sample_day_folders() if "shakedown" in one.name)
    write_result(made_up_day_result("AB"), scratch / "result.zip")
    archive = site.app.state.archive
    with archive.database.writing() as session:
        day = keep_day(archive, session, IncomingDay("Shakedown", None, folder, "folder"))
        keep_result(archive, session, newest_revision(session, day.id), scratch / "result.zip")
        return day.id


def newest(site: Site, day_id: int) -> tuple[int, Day]:
    archive = site.app.state.archive
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        return revision.number, day


def test_a_pass_is_left_out_only_with_its_reason_and_taken_back(site: Site, tmp_path: Path) -> None:
    day_id = keep_sample(site, tmp_path)
    page = site.client.get(f"/days/{day_id}/runs/1")
    assert page.status_code == 200
    assert "coast-downs of this run are used" in page.text or "Every coast-down" in page.text
    start, end = PASS.findall(page.text)[0]
    form = {"say": "drop", "start_s": start, "end_s": end, "was_start_s": start, "was_end_s": end, "revision": "1"}
    there = f"/days/{day_id}/runs/1/passes"
    refused = site.client.post(there, data=form)
    assert (refused.status_code, "Say why the pass is left out" in refused.text) == (422, True)
    assert site.client.post(there, data=form | {"say": "use", "end_s": "inf"}).status_code == 422
    assert newest(site, day_id)[0] == 1
    assert site.client.post(there, data=form | {"reason": "traffic"}).status_code == 303
    number, day = newest(site, day_id)
    edit = day.runs[0].passes[-1]
    assert (number, edit.used, edit.reason) == (2, False, "traffic")
    assert site.client.post(there, data=form | {"say": "clear"}).status_code == 422  # made of revision 1
    assert site.client.post(there, data=form | {"say": "clear", "revision": "2"}).status_code == 303
    assert newest(site, day_id)[0] == 3


def test_a_run_that_is_not_there_is_said_so(site: Site, tmp_path: Path) -> None:
    day_id = keep_sample(site, tmp_path)
    assert "This day has no run 99." in site.client.get(f"/days/{day_id}/runs/99").text
