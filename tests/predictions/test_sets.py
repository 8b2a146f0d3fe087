"""Sets of predictions: kept whole or not at all, never edited, matched to setups, from days' own tables, verified."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.events import chain_faults
from server.archive.jobs import JobKind
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event
from server.archive.worker import Payload
from server.days.changes import Change
from server.days.revisions import revise_day
from server.days.service import FIT_JOB, newest_revision, revision_files, write_files
from server.errors import StillairError
from server.history.verify import faults
from server.predictions import content as content_module
from server.predictions.as_csv import cases_csv
from server.predictions.cars import check_matches, likely_setup, unmatched_names
from server.predictions.content import read_content
from server.predictions.day_sets import keep_day_sets, keep_set_of_day, with_day_sets
from server.predictions.drafts import begin_draft, drafts_of, first_choices, table_of
from server.predictions.service import (
    cases_for_car,
    end_of,
    find_set,
    keep_matches,
    list_sets,
    taps_for_car,
    withdraw_set,
)
from server.predictions.tables import PredictionSet
from server.testday.folder import read_folder
from server.testday.values import Day, Quantity
from tests.predictions.made_sets import CAR, GOOD, OWN, WITH_BAD, keep_made_day, keep_table_as_set


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    made = Archive(tmp_path / "data")
    made.open()
    keep_made_day(made, tmp_path / "day")
    yield made
    made.close()


def cases(archive: Archive):  # type: ignore[no-untyped-def]
    with archive.database.reading() as session:
        return cases_for_car(archive, session, CAR)


def verified(archive: Archive) -> list[str]:
    looking = ReadOnlyArchive(archive.folder)
    try:
        return list(faults(looking))
    finally:
        looking.close()


def test_a_set_holds_its_table_and_every_step(archive: Archive) -> None:
    number = keep_table_as_set(archive, GOOD)
    with archive.database.reading() as session:
        one = find_set(session, number)
        assert (one.cases, one.left_out, one.who, one.recipe) == (3, 0, "Ada", "RANS, 14 million cells")
        assert archive.raw.path(one.file_sha256).read_bytes() == GOOD.encode()
        content = read_content(archive.raw, one.content_sha256)
        assert drafts_of(session) == []
        assert list(chain_faults(session)) == []
    assert content.rows[0].given["SCx [m2]"] == "1,25"
    assert content.rows[0].words[0] == "SCx = 1.25 m2 = 1.25 m²"
    content_module._shelf.clear()
    with archive.database.reading() as session:
        assert read_content(archive.raw, one.content_sha256) == content
    assert verified(archive) == []


def test_a_bad_row_keeps_everything_out_unless_that_is_said(archive: Archive) -> None:
    with pytest.raises(StillairError, match=r"Line 5, “SCx \[m2\]”: holds “n/c”.*Nothing was kept"):
        keep_table_as_set(archive, WITH_BAD)
    with archive.database.reading() as session:
        assert session.scalar(select(func.count(PredictionSet.id))) == 0
    number = keep_table_as_set(archive, WITH_BAD, without_bad=True)
    with archive.database.reading() as session:
        one = find_set(session, number)
        assert (one.cases, one.left_out) == (3, 1)
        (bad,) = read_content(archive.raw, one.content_sha256).left_out
    assert bad.given["SCx [m2]"] == "n/c"
    assert [one.case.scx_m2 for one in cases(archive)] == [Quantity(v, 0.0, "predicted") for v in (1.25, 1.26, 1.31)]


@pytest.mark.usefixtures("engine")
def test_a_set_is_revised_or_withdrawn_with_a_reason_and_never_altered(archive: Archive) -> None:
    first = keep_table_as_set(archive, GOOD)
    with pytest.raises(StillairError, match="Say why"):
        keep_table_as_set(archive, GOOD.replace("1,25", "1,27"), revises=first)
    second = keep_table_as_set(archive, GOOD.replace("1,25", "1,27"), revises=first, reason="finer mesh")
    assert {one.set_id for one in cases(archive)} == {second}
    with archive.database.writing() as session:
        end = end_of(session, first)
        assert end is not None
        assert (end.how, end.reason, end.next_id) == ("revised", "finer mesh", second)
        with pytest.raises(StillairError, match="revised already"):
            withdraw_set(session, first, who="Ada", reason="twice")
        withdraw_set(session, second, who="Ada", reason="without the driver")
    assert cases(archive) == ()
    with archive.database.reading() as session:
        assert len(cases_for_car(archive, session, CAR, set_id=first)) == 3
        kinds = list(session.scalars(select(Event.kind).where(Event.kind.like("predictions-%")).order_by(Event.id)))
    assert kinds == ["predictions-added", "predictions-added", "predictions-ended", "predictions-ended"]
    with pytest.raises(IntegrityError, match="never altered"), archive.database.writing() as session:
        find_set(session, first).name = "another"
    assert verified(archive) == []


def test_names_are_matched_once_and_remembered(archive: Archive) -> None:
    keep_table_as_set(archive, GOOD, matches={"b mk2": "B"})
    assert [(one.written, one.case.setup) for one in cases(archive)] == [("A", "A"), ("A", "A"), ("b mk2", "B")]
    keep_table_as_set(archive, GOOD, name="August")
    assert {one.case.setup for one in cases(archive)} == {"A", "B"}
    with archive.database.writing() as session:
        keep_matches(session, CAR, {"b mk2": ""}, who="Ada")
    assert {one.case.setup for one in cases(archive)} == {"A"}
    with archive.database.reading() as session:
        assert unmatched_names(archive, session, CAR) == ()
        with pytest.raises(StillairError, match="not a setup of the car"):
            check_matches(archive, session, CAR, {"b mk2": "Z"})
    assert verified(archive) == []


@pytest.mark.parametrize(
    ("written", "setup"), [("A", "A"), ("setup a", "A"), ("Config B", "B"), ("flap-up", "Flap up"), ("Tunnel", "")]
)
def test_a_likely_setup_is_proposed(written: str, setup: str) -> None:
    assert likely_setup(written, ("A", "B", "Flap up")) == setup


@pytest.mark.usefixtures("engine")
def test_a_table_of_the_same_headers_is_read_as_before(archive: Archive) -> None:
    keep_table_as_set(archive, GOOD.replace("Downforce", "Lift"), vertical="downforce", car="half")
    with archive.database.writing() as session:
        draft = begin_draft(archive, session, CAR, "next.csv", GOOD.replace("Downforce", "Lift").encode(), who="Ada")
        choices, known = first_choices(session, table_of(archive, draft.sha256, draft.file_name))
        other, strange = first_choices(session, table_of(archive, draft.sha256, draft.file_name)), GOOD.encode()
        assert other[1]
        fresh = begin_draft(archive, session, CAR, "other.csv", strange, who="Ada")
        _, known_fresh = first_choices(session, table_of(archive, fresh.sha256, fresh.file_name))
    assert (known, known_fresh) == (True, False)
    assert (choices["vertical"], choices["car"]) == ("downforce", "half")


def test_taps_are_a_set_of_their_own_kind(archive: Archive) -> None:
    keep_table_as_set(archive, "Tap;Config;Cp;u_Cp\nP1;A;-0,31;0,02\nP2;b mk2;-0,28;\n", matches={"b mk2": "B"})
    with archive.database.reading() as session:
        taps = taps_for_car(archive, session, CAR)
        assert cases_for_car(archive, session, CAR) == ()
    assert [(one.tap.tap, one.tap.setup, one.tap.cp, one.tap.u) for one in taps] == [
        ("P1", "A", -0.31, 0.02),
        ("P2", "B", -0.28, 0.0),
    ]


def test_a_days_own_predictions_become_a_set(archive: Archive, tmp_path: Path) -> None:
    day = keep_made_day(archive, tmp_path / "own", OWN, "Own predictions")
    for _ in range(2):  # at each start; once is enough
        keep_day_sets(archive)
    with archive.database.reading() as session:
        (one,) = list_sets(session, CAR)
        content = read_content(archive.raw, one.content_sha256)
    assert (one.day_id, one.cases, one.who) == (day, 2, "Stillair")
    assert content.rows[0].line == 2
    assert content.rows[0].given["scx_m2"] == "1.25"
    assert [row.case for row in content.rows] == list(read_folder(tmp_path / "own").predictions)
    assert verified(archive) == []


@pytest.mark.usefixtures("engine")
def test_a_changed_day_revises_its_set_and_its_folder_stays_its_own(archive: Archive, tmp_path: Path) -> None:
    day_id = keep_made_day(archive, tmp_path / "own", OWN, "Own predictions")
    keep_day_sets(archive)

    def fewer(day: Day) -> Change:
        from dataclasses import replace

        return Change(replace(day, predictions=day.predictions[:1]), "less", "predictions", 2, 1, "one case less")

    revise_day(archive, day_id, fewer, who="Ada")
    with archive.database.writing() as session:
        keep_set_of_day(archive, session, day_id)
    with archive.database.reading() as session:
        newest, first = list_sets(session, CAR)
        end = end_of(session, first.id)
        assert end is not None
        assert (end.how, end.next_id, newest.cases) == ("revised", newest.id, 1)
    keep_table_as_set(archive, GOOD)
    with archive.database.reading() as session:
        files = revision_files(session, newest_revision(session, day_id).id)
    again = read_folder(write_files(archive, files, tmp_path / "exported"))
    assert len(again.predictions) == 1  # the archive's other sets do not get into the day's folder


def test_a_set_saved_as_predictions_csv_reads_back_to_the_same_cases(archive: Archive, tmp_path: Path) -> None:
    number = keep_table_as_set(archive, GOOD + "A;20;24;1,27;;\n")
    with archive.database.reading() as session:
        content = read_content(archive.raw, find_set(session, number).content_sha256)
    keep_made_day(archive, tmp_path / "again", cases_csv(content), "Again")
    assert list(read_folder(tmp_path / "again").predictions) == [row.case for row in content.taken]


ALTERED = [
    ("prediction_sets", "name", "'x'"),
    ("prediction_sets", "cases", "7"),
    ("prediction_sets", "recipe", "'x'"),
    ("prediction_sets", "content_sha256", "file_sha256"),
    ("prediction_ends", "reason", "'x'"),
    ("prediction_matches", "setup", "'A'"),
]


@pytest.mark.parametrize(("table", "column", "value"), ALTERED)
def test_what_was_altered_is_found(archive: Archive, table: str, column: str, value: str) -> None:
    first = keep_table_as_set(archive, GOOD, matches={"b mk2": "B"})
    with archive.database.writing() as session:
        withdraw_set(session, first, who="Ada", reason="wrong")
    with closing(sqlite3.connect(archive.folder / "archive.sqlite3")) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            if name.startswith("prediction"):
                connection.execute(f"DROP TRIGGER {name}")
        connection.execute(f"UPDATE {table} SET {column} = {value}")
        connection.commit()
    told = [fault for fault in verified(archive) if fault.startswith("Predictions")]
    assert told
    assert any("seal" in fault for fault in verified(archive))


def test_the_job_that_keeps_a_day_keeps_its_set_too(archive: Archive, tmp_path: Path) -> None:
    """Whatever finishes a fit of a day; other jobs are left as they are."""
    day_id = keep_made_day(archive, tmp_path / "own", OWN, "Own predictions")

    def finish(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:  # noqa: ARG001 - a Finish
        return str(outcome["day"])

    kinds = with_day_sets({FIT_JOB: JobKind(lambda *_: {}, finish), "other": JobKind(lambda *_: {}, finish)})
    for kind, sets in (("other", 0), (FIT_JOB, 1), (FIT_JOB, 1)):
        with archive.database.writing() as session:
            assert kinds[kind].finish(archive, session, {}, {"day": day_id}) == str(day_id)
        with archive.database.reading() as session:
            assert len(list_sets(session, CAR)) == sets
