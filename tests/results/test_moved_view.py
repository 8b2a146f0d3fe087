"""What a new result moved, as the page says it: the same digits as on the results' own pages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from server.analysis.result import DayResult, Estimate
from server.archive.archive import Archive
from server.days.service import IncomingDay, add_revision, find_day, keep_day, newest_revision, revision_files
from server.results.moved_view import MovedView, moved_view
from server.results.service import keep_result, write_result
from tests.testday.folders import MINIMAL, make
from tests.web.made_up import made_up_day_result


def scaled(result: DayResult, factor: float) -> DayResult:
    """The result with every drag area scaled."""

    def of(name: str, one: Estimate) -> Estimate:
        ends = {key: factor * getattr(one, key) for key in ("value", "u", "low95", "high95")}
        return replace(one, **ends) if name == "SCx" else one

    setups = (replace(s, estimates={n: of(n, e) for n, e in s.estimates.items()}) for s in result.setups)
    return replace(result, setups=tuple(setups))


def kept(archive: Archive, scratch: Path, *results: DayResult) -> MovedView | None:
    """What the last of these results moved, each that of a revision of its own."""
    with archive.database.writing() as session:
        day = keep_day(archive, session, IncomingDay("day", None, make(scratch / "day", MINIMAL), "day"))
        for number, result in enumerate(results):
            if number:
                files = revision_files(session, newest_revision(session, day.id).id)
                add_revision(session, find_day(session, day.id), files, "Bo", f"change {number}")
            write_result(result, scratch / f"{number}.zip")
            keep_result(archive, session, newest_revision(session, day.id), scratch / f"{number}.zip")
        return moved_view(session, day.id)


def test_a_first_result_moved_nothing(archive: Archive, tmp_path: Path) -> None:
    assert kept(archive, tmp_path, made_up_day_result("A")) is None


def test_before_after_and_the_change_in_per_cent(archive: Archive, tmp_path: Path) -> None:
    result = made_up_day_result("AB")
    view = kept(archive, tmp_path, result, scaled(result, 1.012))
    assert view is not None
    assert (view.what, view.who, view.old, view.waiting) == ("change 1", "Bo", 1, False)
    assert [(row.setup, row.quantity, row.change) for row in view.rows] == [
        ("A", "Drag area SCx", "+1.2 %"),
        ("B", "Drag area SCx", "+1.2 %"),
    ]
    first = view.rows[0]
    assert (first.before, first.after) == ("1.520 ± 0.041 m²", "1.538 ± 0.042 m²")
    assert view.sentence == "Drag area SCx of setup A went from 1.520 ± 0.041 m² to 1.538 ± 0.042 m² (+1.2 %)"


def test_less_than_a_printed_digit_is_counted_not_listed(archive: Archive, tmp_path: Path) -> None:
    result = made_up_day_result("AB")
    view = kept(archive, tmp_path, result, scaled(result, 1.000002))
    assert view is not None
    assert (view.rows, view.hardly) == ((), 2)
    assert view.sentence == "nothing moved in any printed digit"


def test_a_setup_that_came_has_nothing_before(archive: Archive, tmp_path: Path) -> None:
    view = kept(archive, tmp_path, made_up_day_result("A"), made_up_day_result("AB"))
    assert view is not None
    assert ("B", "none", "") in {(row.setup, row.before, row.change) for row in view.rows}


def test_it_is_against_the_result_before_not_the_first(archive: Archive, tmp_path: Path) -> None:
    result = made_up_day_result("A")
    view = kept(archive, tmp_path, result, scaled(result, 1.5), scaled(result, 1.5 * 0.98))
    assert view is not None
    assert (view.what, view.old, [row.change for row in view.rows]) == ("change 2", 2, ["−2.0 %"])
