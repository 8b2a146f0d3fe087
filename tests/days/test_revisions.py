"""A day's chain of revisions: what a change keeps, what it refuses whole, and two persons at once."""

from __future__ import annotations

import contextlib
import json
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import func, select

from server.archive.archive import Archive
from server.archive.events import chain_faults
from server.archive.tables import Event, Job
from server.days import changes, corrections, day_shelf
from server.days.changes import plain
from server.days.revisions import newest_day, revise_day
from server.days.service import (
    REFIT_JOB,
    IncomingDay,
    find_day,
    find_revision,
    keep_day,
    list_revisions,
    revision_files,
    write_files,
)
from server.days.tables import DayRevision
from server.errors import StillairError
from server.testday.folder import read_folder
from server.testday.values import Day, Quantity, Setup
from tests.testday.folders import FULL, FULL_FILES, MINIMAL, make


def kept(archive: Archive, folder: Path, toml: str = FULL, files: dict[str, str] | None = None) -> int:
    """A day of a folder, its logs empty: nothing here reads them."""
    make(folder, toml, FULL_FILES if files is None else files)
    with archive.database.writing() as session:
        return keep_day(archive, session, IncomingDay(folder.name, None, folder, folder.name), "Ada").id


def newest(archive: Archive, day_id: int) -> tuple[int, Day]:
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        return revision.number, day


def without_predictions(day: Day) -> changes.Change:
    return replace(heavier(day), day=replace(heavier(day).day, predictions=()))


@pytest.mark.parametrize("change", ["heavier", "without_predictions"])
def test_a_revised_day_in_memory_is_the_one_of_its_files(archive: Archive, tmp_path: Path, change: str) -> None:
    day_id = kept(archive, tmp_path / "day")
    revise_day(archive, day_id, globals()[change], who="Ada")
    in_memory = newest(archive, day_id)
    day_shelf._shelf.clear()
    assert repr(in_memory) == repr(newest(archive, day_id))


def heavier(day: Day) -> changes.Change:
    return changes.change_car(day, "mass_kg", Quantity(237.0, 0.5, "measured"))


def heavier_still(day: Day) -> changes.Change:
    return changes.change_car(day, "mass_kg", Quantity(238.0, 0.5, "measured"))


@pytest.mark.usefixtures("engine")
def test_a_change_is_the_next_revision_with_its_event_and_its_fit(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    before = newest(archive, day_id)[1]
    made = revise_day(archive, day_id, heavier, who="Bo", reason="weighed again", expected=1)
    number, after = newest(archive, day_id)
    assert (made.number, number) == (2, 2)
    assert after.car == replace(before.car, mass_kg=Quantity(237.0, 0.5, "measured"))
    with archive.database.reading() as session:
        event = session.scalar(select(Event).order_by(Event.id.desc()).limit(1))
        assert event is not None
        assert (event.who, event.kind, event.day_id, event.reason) == ("Bo", "car-changed", day_id, "weighed again")
        assert json.loads(event.before) == plain(before.car.mass_kg)
        told = json.loads(event.after)
        assert told["value"] == {"value": 237.0, "u": 0.5, "source": "measured"}
        revision = find_revision(session, day_id, 2)
        assert (told["revision"], told["content_sha256"]) == (2, revision.content_sha256)
        assert (revision.who, revision.what) == ("Bo", made.what)
        job = session.get_one(Job, made.job_id)
        assert (job.kind, job.lane, job.day_id, job.who, job.label) == (REFIT_JOB, "quick", day_id, "Bo", made.what)
        assert job.payload["files"] == revision_files(session, revision.id)
        assert not list(chain_faults(session))


def test_the_old_revision_stays_to_the_byte(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    with archive.database.reading() as session:
        files = revision_files(session, find_revision(session, day_id, 1).id)
    revise_day(archive, day_id, heavier, who="Bo")
    with archive.database.reading() as session:
        assert revision_files(session, find_revision(session, day_id, 1).id) == files
        folder = write_files(archive, files, tmp_path / "as it was")
    for path in files:
        assert (folder / path).read_bytes() == (tmp_path / "day" / path).read_bytes()


def test_a_revision_written_out_reads_back_as_the_changed_day(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    changed = heavier(newest(archive, day_id)[1]).day
    revise_day(archive, day_id, heavier, who="Bo")
    with archive.database.reading() as session:
        files = revision_files(session, find_revision(session, day_id, 2).id)
        again = read_folder(write_files(archive, files, tmp_path / "out"))
    wanted, read = plain(changed), plain(again)
    wanted.pop("findings"), read.pop("findings")
    assert read == wanted


def test_name_and_date_of_the_day_follow(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    revise_day(archive, day_id, lambda day: changes.change_day(day, name="Short apron"), who="Bo")
    with archive.database.reading() as session:
        assert find_day(session, day_id).name == "Short apron"


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda day: changes.move_run(day, 99, "A"), "This day has no run 99."),
        (lambda day: changes.change_car(day, "mass_kg", day.car.mass_kg), "Nothing would change by that."),
        (lambda day: changes.change_car(day, "mass_kg", Quantity(5.0, 0.5)), "must lie between 50 and 3,000 kg"),
        (lambda day: changes.add_setup(day, Setup("X", parts={"": "x"}, front_ride_height_m=5.0)), "a ride height"),
    ],
)
def test_what_is_refused_leaves_no_trace(archive: Archive, tmp_path: Path, change, sentence: str) -> None:  # type: ignore[no-untyped-def]
    day_id = kept(archive, tmp_path / "day")
    before = counts(archive)
    with pytest.raises(StillairError, match=sentence):
        revise_day(archive, day_id, change, who="Bo")
    assert counts(archive) == before


def counts(archive: Archive) -> tuple[int | None, ...]:
    with archive.database.reading() as session:
        return tuple(session.scalar(select(func.count()).select_from(table)) for table in (Event, DayRevision, Job))


def test_who_saw_an_older_revision_is_told_so_in_one_sentence(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    revise_day(archive, day_id, heavier, who="Bo", expected=1)
    with pytest.raises(StillairError) as refusal:
        revise_day(archive, day_id, heavier_still, who="Cy", expected=1)
    assert str(refusal.value) == "Somebody changed this day meanwhile (revision 2); look at it, then try again."
    assert newest(archive, day_id)[0] == 2


def test_who_saw_an_older_revision_may_change_what_nobody_else_did(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    revise_day(archive, day_id, heavier, who="Bo", expected=1)
    revise_day(archive, day_id, lambda day: changes.change_day(day, notes="x"), who="Cy", expected=1)
    number, day = newest(archive, day_id)
    assert (number, day.notes, day.car.mass_kg.value) == (3, "x", heavier(day).day.car.mass_kg.value)


@pytest.mark.usefixtures("engine")
def test_of_two_persons_at_once_one_is_kept_and_one_is_told(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    gate, told = threading.Barrier(2), []

    def person(name: str) -> None:
        def change(day: Day) -> changes.Change:
            if not gate.broken and len(told) == 0:
                with contextlib.suppress(threading.BrokenBarrierError):
                    gate.wait(5)
            return changes.change_day(day, notes=f"by {name}")

        try:
            told.append(revise_day(archive, day_id, change, who=name, expected=1).what)
        except StillairError as refusal:
            told.append(str(refusal))

    threads = [threading.Thread(target=person, args=(name,)) for name in ("Bo", "Cy")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(text.split(" ")[0] for text in told) == ["Somebody", "day:"]
    assert newest(archive, day_id)[0] == 2


def test_a_change_that_expects_nothing_is_asked_again_on_what_came_between(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    asked: list[str] = []

    def change(day: Day) -> changes.Change:
        asked.append(day.notes)
        if len(asked) == 1:
            revise_day(archive, day_id, lambda other: changes.change_day(other, notes="quicker"), who="Cy")
        return heavier(day)

    made = revise_day(archive, day_id, change, who="Bo")
    assert asked[1] == "quicker"
    number, day = newest(archive, day_id)
    assert (made.number, number, day.notes, day.car.mass_kg.value) == (3, 3, "quicker", 237.0)


@pytest.mark.usefixtures("engine")
def test_a_fit_that_still_waits_gives_way_to_that_of_a_later_change(archive: Archive, tmp_path: Path) -> None:
    day_id = kept(archive, tmp_path / "day")
    other = kept(archive, tmp_path / "other", MINIMAL, {})
    first = revise_day(archive, day_id, heavier, who="Bo")
    aside = revise_day(archive, other, heavier, who="Bo")
    second = revise_day(archive, day_id, lambda day: changes.change_day(day, notes="x"), who="Bo")
    with archive.database.reading() as session:
        states = [session.get_one(Job, made.job_id).state for made in (first, aside, second)]
        assert states == ["cancelled", "queued", "queued"]
        assert session.get_one(Job, first.job_id).error == "a later change of the day took this fit's place"
        assert [one.number for one in list_revisions(session, day_id)] == [3, 2, 1]


# A correction for all days of a car


NAMED = 'name = "{day}"\n' + MINIMAL.replace("[car]", '[car]\nname = "Wisp 5"')


def season(archive: Archive, folder: Path) -> list[int]:
    """Four days: three of one car, the last of them with another mass, and one of another car."""
    texts = [NAMED.format(day="May"), NAMED.format(day="June"), NAMED.format(day="July").replace("236.0", "240.0")]
    texts.append(NAMED.format(day="August").replace("Wisp 5", "Wisp 6"))
    return [kept(archive, folder / str(number), text, {}) for number, text in enumerate(texts)]


def test_days_that_share_are_those_of_the_same_car_with_the_same_value(archive: Archive, tmp_path: Path) -> None:
    may, june, july, _ = season(archive, tmp_path)
    with archive.database.reading() as session:
        sharing = {day: corrections.days_that_share(archive, session, day, "mass_kg") for day in (may, july)}
        assert [day.id for day in sharing[may]] == [june]
        assert sharing[july] == ()
        assert {day.id for day in corrections.days_that_share(archive, session, may, "cg_height_m")} == {june, july}
        assert corrections.days_that_share(archive, session, may, "weather.1") == ()


@pytest.mark.usefixtures("engine")
def test_a_correction_of_several_days_is_a_revision_an_event_and_a_fit_each(archive: Archive, tmp_path: Path) -> None:
    may, june, july, august = season(archive, tmp_path)
    typed = {"value": ("237",), "value_source": ("measured",)}
    made = corrections.correct(
        archive, may, "mass_kg", typed, also=(june, july, august), who="Bo", reason="new scales", expected=1
    )
    assert (made.here.number, made.others) == (2, (june,))
    assert made.refused == (
        f"Day {july} stays as it was: another value stands there by now.",
        f"Day {august} stays as it was: it is another car’s.",
    )
    masses = [newest(archive, day)[1].car.mass_kg.value for day in (may, june, july, august)]
    assert masses == [237.0, 237.0, 240.0, 236.0]
    with archive.database.reading() as session:
        events = session.scalars(select(Event).where(Event.kind == "car-changed").order_by(Event.id)).all()
        assert [(event.day_id, event.reason) for event in events] == [(may, "new scales"), (june, "new scales")]
        jobs = {job.day_id: job.lane for job in session.scalars(select(Job)) if job.kind == REFIT_JOB}
        assert jobs == {may: "quick", june: "long"}


def test_where_this_day_refuses_no_other_day_changes(archive: Archive, tmp_path: Path) -> None:
    may, june, *_ = season(archive, tmp_path)
    before = counts(archive)
    with pytest.raises(StillairError, match="must lie between 50 and 3,000 kg, not 5"):
        corrections.correct(archive, may, "mass_kg", {"value": ("5",)}, also=(june,), who="Bo")
    assert counts(archive) == before
