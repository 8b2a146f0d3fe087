"""Channels to roles: a person's word first, then what names and units propose; in SI, with what to ask.

propose(raw)           which channel may play which role
assign(raw, chosen)    the signals in SI, findings, questions
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from server.testday.role_proposals import Proposal, best_proposals, propose, unit_at_end
from server.testday.role_signals import Candidate, UnusableError, speed_unit_told, to_signal
from server.testday.role_table import CORNERS, ROLE_NAMES, ROLES, SPEED_ROLES, Role
from server.testday.units import is_unit
from server.testday.values import Calibration, Channel, Finding, RawLog, Signal

__all__ = [
    "CORNERS",
    "ROLES",
    "ROLE_NAMES",
    "SPEED_ROLES",
    "Assignment",
    "Proposal",
    "Role",
    "Unclear",
    "assign",
    "propose",
    "remembered",
    "same_column",
]

NOTHING = "-"  # a role's column where a person says that no channel plays it
_BRACKET = re.compile(r"^(?P<name>.*\S)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\))\s*$", re.DOTALL)
_CONFIDENT = 0.8
TyreRadii = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Unclear:
    """What a question is about: the role, the columns that may play it, whether the unit is what is missing."""

    role: str
    columns: tuple[str, ...]
    unit: bool


@dataclass(frozen=True, slots=True, eq=False)
class Assignment:
    """Role → signal in SI; findings; questions, each one sentence with the line that answers it.

    unclear: what each question is about. missing: role → column that a person named but this log does not have.
    """

    signals: dict[str, Signal]
    findings: list[Finding] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    unclear: list[Unclear] = field(default_factory=list)
    missing: dict[str, str] = field(default_factory=dict)

    def ask(self, sentence: str, about: Unclear) -> None:
        """Add a question."""
        self.questions.append(sentence)
        self.unclear.append(about)


def assign(
    raw: RawLog,
    chosen: Mapping[str, str],
    *,
    tyre_radius_m: TyreRadii = (None, None),
    calibration: Mapping[str, Calibration] | None = None,
) -> Assignment:
    """Assign channels to roles and bring them to SI.

    chosen: role → column, a person's word; "Speed [km/h]" also says the unit; "-" says that none plays it.
    tyre_radius_m: rolling radius of the front and the rear axle [m], for wheel speeds logged as a rotation.
    calibration: by role, applied to the raw readings.
    Raises ValueError for a role that does not exist.
    """
    for role in chosen:
        if role not in ROLE_NAMES:
            raise ValueError(f"chosen: '{role}' is no channel role.")
    out = Assignment({})
    candidates = _chosen(raw, chosen, out)
    candidates += _proposed(raw, chosen, candidates, out)
    calibrations = calibration or {}
    waiting: list[Candidate] = []
    for candidate in sorted(candidates, key=lambda c: c.role.is_speed):
        if candidate.needs_unit(calibrations) and candidate.role.is_speed:
            waiting.append(candidate)
        else:
            _convert(raw.file, candidate, calibrations, tyre_radius_m, out)
    for candidate in _in_order_of_telling(raw.file, waiting, out):
        _convert(raw.file, candidate, calibrations, tyre_radius_m, out)
    return out


def _in_order_of_telling(file: str, waiting: list[Candidate], out: Assignment) -> Iterator[Candidate]:
    """Speeds without a unit, with the one that the log tells; one that is known may tell another's."""
    left = list(waiting)
    while left:
        told = ((speed_unit_told(candidate.channel, out.signals), candidate) for candidate in left)
        first = next(((unit, candidate) for unit, candidate in told if unit is not None), None)
        if first is None:
            yield from left
            return
        (unit, teller), candidate = first
        text = f"{file}: '{candidate.channel.name}' has no unit; {teller} tells that it is in {unit}."
        out.findings.append(Finding("unit-inferred", "note", text))
        left.remove(candidate)
        yield candidate.with_unit(unit)


def find_channel(raw: RawLog, column: str) -> tuple[Channel, str | None] | None:
    """Find the channel a person means by a column's name, and the unit written behind it."""
    exact = next((c for c in raw.channels if c.name == column), None)
    if exact is not None:
        return exact, exact.unit
    match = _BRACKET.match(column)
    bare, unit = (match["name"], match["square"] or match["round"]) if match else (column, None)
    same = [c for c in raw.channels if c.name == bare] or [
        c for c in raw.channels if c.name.casefold() == bare.casefold()
    ]
    return (same[0], (unit or "").strip() or same[0].unit) if same else None


def same_column(one: str, other: str) -> bool:
    """Whether two words of a person name the same column, whatever unit stands behind it."""
    return _bare(one).casefold() == _bare(other).casefold()


def _bare(column: str) -> str:
    """A column's name without a unit behind it; brackets that hold none are part of the name."""
    match = _BRACKET.match(column)
    unit = (match["square"] or match["round"] or "").strip() if match else ""
    return match["name"] if match and unit and is_unit(unit) else column


def remembered(raw: RawLog, chosen: Mapping[str, str], seen: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Role → column as people said it on earlier days, where this log has the column and nobody speaks of the role.

    chosen: a person's words on this day; seen: role → columns, the newest word first. A remembered unit stands only
    where the log says none; what names and units propose by themselves anyway is left to them.
    """
    if raw.typed is not None:  # marks of a stopwatch are no channel
        return {}
    named = {found[0].name for column in chosen.values() if (found := find_channel(raw, column))}
    alone = {role: [p.channel.name for p in ps] for role, ps in best_proposals(propose(raw)).items()}
    taken: dict[str, str] = {}
    for role, columns in seen.items():
        if role in chosen or role not in ROLES:
            continue
        for column in columns:
            found = find_channel(raw, column)
            if found is None or found[0].name in named:
                continue
            text = _as_logged(found[0], column)
            if text != found[0].name or alone.get(role) != [found[0].name]:
                taken[role] = text
            named.add(found[0].name)
            break
    return taken


def _as_logged(channel: Channel, column: str) -> str:
    """The column as it was named, without the remembered unit where the log itself says one that is known."""
    return channel.name if channel.unit and is_unit(channel.unit) else column


def _chosen(raw: RawLog, chosen: Mapping[str, str], out: Assignment) -> list[Candidate]:
    candidates = []
    for role, column in chosen.items():
        if role == "time" or column == NOTHING:
            continue
        found = find_channel(raw, column)
        if found is None:
            out.missing[role] = column
            continue
        channel, unit = found
        candidates.append(Candidate(ROLES[role], channel, unit or unit_at_end(channel.name), asks=True))
    return candidates


def _proposed(
    raw: RawLog, chosen: Mapping[str, str], known: list[Candidate], out: Assignment
) -> list[Candidate]:
    """Proposals for the roles that nobody spoke of, from the channels that nobody named."""
    used = {candidate.channel.name for candidate in known}
    free = [p for p in propose(raw) if p.role not in chosen and p.channel.name not in used]
    candidates = []
    for name, proposals in best_proposals(free).items():
        role = ROLES[name]
        if len(proposals) == 1:
            first = proposals[0]
            if first.inferred:
                out.findings.append(Finding("role-inferred", "note", f"{raw.file}: {first.inferred}"))
            sure = first.confidence >= _CONFIDENT or role.is_speed
            candidates.append(Candidate(role, first.channel, first.unit, asks=role.ask and sure))
        elif role.ask:
            columns = tuple(proposal.channel.name for proposal in proposals)
            out.ask(_which(raw.file, role, proposals), Unclear(name, columns, unit=False))
        else:
            out.findings.append(Finding("role-unclear", "check", _which(raw.file, role, proposals)))
    return candidates


def _which(file: str, role: Role, proposals: list[Proposal]) -> str:
    names = [proposal.channel.name for proposal in proposals]
    listed = ", ".join(f"'{name}'" for name in names[:-1]) + f" or '{names[-1]}'"
    lines = " or ".join(line_to_add(role.name, name) for name in names[:3])
    return f"{file}: {role.spoken} may be {listed}; say which under [channels] in testday.toml: {lines}."


def line_to_add(role: str, column: str) -> str:
    """Return the line of testday.toml that names a role's column."""
    return f"{role} = {json.dumps(column, ensure_ascii=False)}"


def _convert(
    file: str,
    candidate: Candidate,
    calibrations: Mapping[str, Calibration],
    tyre_radius_m: TyreRadii,
    out: Assignment,
) -> None:
    try:
        signal, notes = to_signal(file, candidate, calibrations.get(candidate.role.name), tyre_radius_m)
    except UnusableError as why:
        if candidate.asks:
            about = Unclear(candidate.role.name, (candidate.channel.name,), unit=why.code.startswith("unit"))
            out.ask(str(why), about)
        else:
            out.findings.append(Finding(why.code, "check", f"{why} Until then it is not used."))
    else:
        out.signals[candidate.role.name] = signal
        out.findings.extend(notes)
