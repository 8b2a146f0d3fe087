"""What reports share: rows with the widths of their columns, the archive's newest event in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.reports.content import Rows

CAUTIONS = (
    "Track testing can hurt people. Closed course, a marshal with a radio, room to stop, nothing that can come off, "
    "tyres and brakes looked at, high voltage proven off, limits on wind and wet agreed before the day; stop for "
    "anybody's doubt. Local rules, the event's rules and qualified people decide.",
    "An interval of 95 % holds the truth in 95 of 100 such days. It tells of this car at this reference condition: "
    "another ride height, yaw or tyre is another number.",
)


@dataclass(frozen=True, slots=True)
class UsedResult:
    """A result that a report is made of. signed: by whom and when, empty where nobody did."""

    day_id: int
    day: str
    date: str
    revision: int
    result: int
    version: str
    sha256: str
    signed: str


def rows(columns: Sequence[str], lines: Sequence[Sequence[str]], shares: Sequence[float]) -> Rows:
    """A table; shares: how wide its columns are, against each other."""
    whole = sum(shares)
    return Rows(tuple(columns), tuple(tuple(line) for line in lines), tuple(one / whole for one in shares))


def newest_event(head: tuple[int, str]) -> str:
    """The archive's newest event, by which the report can be dated and checked."""
    return (
        f"The archive's newest event when this report was made: number {head[0]}, SHA-256 {head[1]}. Its chain, and "
        "every result below, can be checked with “stillair verify”; “stillair again” fits the results again."
    )


def results_table(results: Sequence[UsedResult]) -> Rows:
    """The results that a report is made of."""
    told = ((one, f"{one.date} {one.day}", f"{one.result} of revision {one.revision}") for one in results)
    lines = [(day, result, one.version, one.sha256) for one, day, result in told]
    return rows(("day", "result", "by version", "SHA-256"), lines, (2.2, 1.5, 0.9, 4.0))
