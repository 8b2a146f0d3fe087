"""What the page of a run says first, and what it says to do."""

from __future__ import annotations

from server.figures.theme import SetupMark
from server.results.view import PassRow
from server.runs.reading_pages import PassLine, next_step, sentence
from server.testday.values import Finding

MARK = SetupMark("A", "#000000", 0)


def line(number: int, own: str = "", reason: str = "", kind: str = "coast-down") -> PassLine:
    row = PassRow("A", MARK, 1, kind, "out", "1.0 – 9.0", "90 → 30", not reason, reason, own)
    return PassLine(number, 1.0, 9.0, row, False, {})


def test_a_good_run_says_what_its_passes_give_alone() -> None:
    lines = (line(1, "1.445 ± 0.016"), line(2, "1.437 ± 0.015"), line(3, kind="static zero"))
    given = "by their own noise alone they give SCx 1.437 ± 0.015 to 1.445 ± 0.016 m², all else as the day found it"
    told = f"Every coast-down of this run is used: 2 of 2; {given}."
    assert sentence(lines, stale=False) == told
    one = sentence(lines[:1], stale=False)
    assert "1 of 1; by its own noise alone it gives SCx 1.445 ± 0.016 m², all else as the day found it." in one
    assert next_step(lines, [], 0) == ""


def test_what_was_turned_down_is_said_with_its_reason_and_what_to_do() -> None:
    lines = (line(1, "1.445 ± 0.016"), line(2, reason="the brake was touched"))
    told = "1 of 2 coast-downs of this run are used; turned down first: the brake was touched."
    assert sentence(lines, stale=False) == told
    assert next_step(lines, [], 0).startswith("Look at the edges of what was turned down")
    finding = Finding("gaps", "check", "a gap", 1)
    assert next_step(lines, [finding], 0) == "1 finding asks for a look."
    assert next_step(lines, [finding], 2) == "Say what 2 columns below are in."


def test_what_only_rolled_slowly_before_a_turn_is_no_coast_down_that_failed() -> None:
    lines = (line(1, "1.445 ± 0.016"), line(2, reason="speed below 4.2 m/s"))
    assert sentence(lines, stale=False).startswith("Every coast-down of this run is used: 1 of 1")
    assert next_step(lines, [], 0) == ""
    assert sentence(lines[1:], stale=False) == "No coast-down was found in this run."


def test_a_run_without_passes_says_why() -> None:
    assert sentence((), stale=True) == "This run was not fitted yet."
    assert sentence((line(1, kind="static zero"),), stale=False) == "No coast-down was found in this run."
    assert next_step((line(1, kind="static zero"),), [], 0).startswith("Look at its findings")
