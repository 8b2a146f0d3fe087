"""Findings for the page: the gravest first, many notes of one code folded into one line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.testday.findings import CODES
from server.testday.values import Finding, FindingGrade

GRADE_ORDER = {"stop": 0, "check": 1, "note": 2}
FOLDED_FROM = 3


@dataclass(frozen=True, slots=True)
class FindingGroup:
    """Findings that stand together; `text` is the line that folds them, empty where the one stands alone."""

    grade: FindingGrade
    code: str
    text: str
    findings: tuple[Finding, ...]


def finding_groups(findings: Iterable[Finding]) -> tuple[FindingGroup, ...]:
    """Gravest first; notes of the same code become one group where there are at least `FOLDED_FROM`.

    Checks and stops always stand alone: each asks for a look of its own.
    """
    ordered = sorted(findings, key=lambda f: (GRADE_ORDER[f.grade], f.run or 0, f.code))
    notes = [finding for finding in ordered if finding.grade == "note"]
    many = {code for code in (f.code for f in notes) if sum(f.code == code for f in notes) >= FOLDED_FROM}
    groups: list[FindingGroup] = []
    for finding in ordered:
        if finding.grade != "note" or finding.code not in many:
            groups.append(FindingGroup(finding.grade, finding.code, "", (finding,)))
        elif all(group.code != finding.code or not group.text for group in groups):
            same = tuple(one for one in notes if one.code == finding.code)
            groups.append(FindingGroup("note", finding.code, folded_text(finding.code, len(same)), same))
    return tuple(groups)


def folded_text(code: str, number: int) -> str:
    """“14 notes: …” with what the code means."""
    return f"{number} notes: {CODES.get(code, code)}"
