"""The usual cautions and checks before a car runs: who put a name to which, when, and what changed since.

The program stops nobody: it says plainly what nobody acknowledged. Local rules, the event's rules and qualified people
decide.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from server.analysis.trackside_findings import newest_reading, trackside_findings
from server.days.change import Change, plain
from server.errors import StillairError
from server.testday.quantities import clock_from_s
from server.testday.values import Acknowledgement, Day, Run

# Common practice of testing on a straight, no source.
CAUTIONS = (
    "Local rules, the event's rules and qualified people decide; everybody here knows them",
    "Nobody is on the straight who is not needed there; one person with a radio starts and stops every run",
    "Run, stopping distance and a margin fit the straight; help and an extinguisher are at hand",
    "Whoever has a doubt stops the run: a loose part, a light, a sound, a smell, a lost radio",
)
CHECKS = (
    "Wheel nuts are tight and secured",
    "Brakes hold, and let go again",
    "Tyre pressures are read, tyres looked at",
    "Kill switch tried; on an electric car the isolation is proven",
    "Wings, body, ballast and tuft tape are fixed",
)
ZERO = "Sensors zeroed: the car stood still for five seconds, nobody leaning on it, logger on"
WINDY = "Wind over the limit: whether to run was decided"
WET = "Damp or wet straight: whether to run was decided"
FIRST, CHANGED, AGAIN = "before the first run", "after a change", "again"
WIND_CODES = {"wind-limit", "gust-limit", "cross-wind"}
WINDOW = "; "


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One caution or check. who, when: of the newest acknowledgement that holds; empty where there is none."""

    text: str
    who: str = ""
    when: str = ""

    @property
    def open(self) -> bool:
        """Whether nobody put a name to it yet."""
        return not self.who


@dataclass(frozen=True, slots=True)
class ChecksView:
    """All of them as they stand. unnamed: runs that started before everything was acknowledged."""

    changes: tuple[CheckLine, ...]
    cautions: tuple[CheckLine, ...]
    checks: tuple[CheckLine, ...]
    zero: CheckLine
    unnamed: tuple[int, ...]

    @property
    def lines(self) -> tuple[CheckLine, ...]:
        """What must be acknowledged now, the newest changes first; the zero is asked before each run by itself."""
        return (*self.changes, *self.cautions, *self.checks)

    @property
    def open(self) -> tuple[str, ...]:
        """What nobody put a name to."""
        return tuple(line.text for line in self.lines if line.open)

    @property
    def sentence(self) -> str:
        """How it stands, plainly."""
        missing, all_ = len(self.open), len(self.lines)
        if not missing:
            last = max(self.lines, key=lambda line: line.when)
            return f"All {all_} are acknowledged by name, the last by {last.who} at {last.when}."
        head = f"{missing} of {all_} are not acknowledged" if missing < all_ else "Nothing is acknowledged yet"
        runs = "Run" if len(self.unnamed) == 1 else "Runs"
        driven = f" {runs} {_listed(self.unnamed)} started without." if self.unnamed else ""
        return f"{head}. The program stops nobody; no car should leave before each has a name beside it.{driven}"


def checks_view(day: Day) -> ChecksView:
    """How the checks of a day stand."""
    cautions = tuple(_line(day, text) for text in CAUTIONS)
    checks = tuple(_line(day, text) for text in (*CHECKS, *day.checklist))
    changes = tuple(_line(day, text, since) for text, since in changed_conditions(day))
    return ChecksView(changes, cautions, checks, _line(day, ZERO, last_start(day)), _unnamed(day, (*cautions, *checks)))


def changed_conditions(day: Day) -> tuple[tuple[str, float], ...]:
    """What the newest reading says that needs a person's word, and since when [s after midnight]."""
    newest = newest_reading(day)
    codes = {finding.code for finding in trackside_findings(day)}
    since = (newest.clock_s or 0.0) if newest else 0.0
    found = ((WINDY, bool(codes & WIND_CODES)), (WET, "surface-wet" in codes))
    return tuple((text, since) for text, holds in found if holds)


def last_start(day: Day) -> float:
    """When the newest run started [s after midnight]; just before midnight's start where none has a time."""
    return max((run.start_clock_s for run in day.runs if run.start_clock_s is not None), default=-1.0)


def acknowledge(day: Day, one: Acknowledgement) -> Change:
    """A person's name beside some of the checks."""
    if not one.who.strip():
        raise StillairError("Say who acknowledges: a name, as the others know it.")
    if not one.items:
        raise StillairError("Tick what was looked at; nothing was ticked.")
    one = replace(one, why=one.why or why_of(day, one.items))
    changed = replace(day, acknowledged=(*day.acknowledged, one))
    what = f"{len(one.items)} check{'s' if len(one.items) > 1 else ''} acknowledged by {one.who} {one.why}"
    return Change(changed, "checks-acknowledged", "checks", None, plain(one), what)


def change_checklist(day: Day, items: tuple[str, ...]) -> Change:
    """The team's own checks, beside the usual ones."""
    usual = {text.casefold() for text in (*CAUTIONS, *CHECKS, ZERO)}
    if again := next((item for item in items if item.casefold() in usual), None):
        raise StillairError(f"“{again}” is among the usual checks already.")
    changed = replace(day, checklist=items)
    count = f"{len(items)} check{'' if len(items) == 1 else 's'} of the team's own"
    before, after = list(day.checklist), list(items)
    return Change(changed, "checklist-changed", "checklist", before, after, f"checklist: {count}")


def why_of(day: Day, items: tuple[str, ...]) -> str:
    """Why these are acknowledged: what the history says of it."""
    if any(text in items for text in (WINDY, WET)):
        return CHANGED
    if items == (ZERO,):
        return f"before run {max((run.number for run in day.runs), default=0) + 1}"
    return AGAIN if all(_line(day, item).who for item in items) else FIRST


def _line(day: Day, text: str, since_s: float = -1.0) -> CheckLine:
    held = [one for one in day.acknowledged if text in one.items and one.clock_s > since_s - 1e-9 * (since_s > 0)]
    newest = max(held, key=lambda one: one.clock_s, default=None)
    return CheckLine(text, newest.who, clock_text(newest.clock_s)) if newest else CheckLine(text)


def clock_text(clock_s: float) -> str:
    """A clock time to the minute."""
    return clock_from_s(clock_s)[:5]


def _unnamed(day: Day, lines: tuple[CheckLine, ...]) -> tuple[int, ...]:
    """Runs that started before a name stood beside everything."""
    complete = max((_first(day, line.text) for line in lines), default=0.0)
    return tuple(run.number for run in sorted(day.runs, key=_start) if run.start_clock_s is not None
                 and run.start_clock_s < complete)  # fmt: skip


def _first(day: Day, text: str) -> float:
    return min((one.clock_s for one in day.acknowledged if text in one.items), default=float("inf"))


def _start(run: Run) -> float:
    return run.start_clock_s or 0.0


def _listed(numbers: tuple[int, ...]) -> str:
    *first, last = (str(number) for number in numbers)
    return f"{', '.join(first)} and {last}" if first else last
