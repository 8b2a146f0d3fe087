"""Changes of a day as pure functions: the day before in, the day after out, with the words for its history.

Every function raises StillairError with one sentence where the change makes no sense.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

from server.errors import StillairError
from server.testday.values import Axle, Calibration, Car, Day, PassEdit, Quantity, Run, Setup, WeatherReading

NEAR_S = 0.5  # an edit that starts or ends this near to another one speaks of the same pass


@dataclass(frozen=True, slots=True)
class Change:
    """A changed day. kind: a slug; subject: what was changed; before, after: JSON values; what: one sentence.

    new_files: path in the day's folder → file that comes with the change.
    """

    day: Day
    kind: str
    subject: str
    before: Any
    after: Any
    what: str
    new_files: Mapping[str, Path] = field(default_factory=dict)


def find_run(day: Day, number: int) -> Run:
    """The run of that number. Raises StillairError."""
    for run in day.runs:
        if run.number == number:
            return run
    raise StillairError(f"This day has no run {number}.")


def find_setup(day: Day, name: str) -> Setup:
    """The setup of that name. Raises StillairError."""
    for setup in day.setups:
        if setup.name == name:
            return setup
    raise StillairError(f"This day has no setup “{name[:60]}”; it has {', '.join(s.name for s in day.setups)}.")


def runs_of(day: Day, setup: str) -> list[int]:
    """The numbers of the runs that were driven in a setup."""
    return [run.number for run in day.runs if run.setup == setup]


def move_run(day: Day, number: int, setup: str) -> Change:
    """The run was driven in another setup than was written down."""
    run, target = find_run(day, number), find_setup(day, setup)
    what = f"run {number} moved from setup {run.setup} to {target.name}"
    return Change(_with_run(day, replace(run, setup=target.name)), "run-moved", f"run {number}", run.setup, setup, what)


def add_runs(day: Day, runs: tuple[Run, ...], files: Mapping[str, Path], setups: tuple[Setup, ...] = ()) -> Change:
    """New runs with their logs, and setups that are new with them."""
    taken = {run.number for run in day.runs}
    if clash := sorted({run.number for run in runs} & taken):
        raise StillairError(f"Run {clash[0]} is there already.")
    known = {setup.name for setup in (*day.setups, *setups)}
    for run in runs:
        if run.setup not in known:
            raise StillairError(f"Run {run.number} is in setup “{run.setup[:60]}”, which this day does not have.")
    numbers = ", ".join(str(run.number) for run in runs)
    after = [{"run": r.number, "setup": r.setup, "logs": [log.file for log in r.logs]} for r in runs]
    changed = replace(
        day, runs=tuple(sorted((*day.runs, *runs), key=lambda r: r.number)), setups=(*day.setups, *setups)
    )
    what = f"run{'s' if len(runs) > 1 else ''} {numbers} added"
    return Change(changed, "runs-added", f"runs {numbers}", None, after, what, dict(files))


def change_run(day: Day, number: int, **facts: Any) -> Change:
    """Other facts of a run: driver_mass_kg, coasting, direction, start_clock_s, notes, channels."""
    allowed = {"driver_mass_kg", "coasting", "direction", "start_clock_s", "notes", "channels", "logs"}
    if unknown := set(facts) - allowed:
        raise StillairError(f"A run's {sorted(unknown)[0]} can't be changed here.")
    run = find_run(day, number)
    before = {name: plain(getattr(run, name)) for name in facts}
    after = {name: plain(value) for name, value in facts.items()}
    words = ", ".join(f"{name.split('_')[0]}" for name in facts)
    return Change(
        _with_run(day, replace(run, **facts)),
        "run-changed",
        f"run {number}",
        before,
        after,
        f"run {number}: {words} changed",
    )


def edit_pass(day: Day, number: int, edit: PassEdit, replaces: tuple[float, float] | None = None) -> Change:
    """A person's word on a stretch of a run; `replaces`: [start, end] of the stretch that it was before."""
    if not edit.end_s > edit.start_s:
        raise StillairError(f"A pass must end after it starts, not at {edit.end_s:g} s after {edit.start_s:g} s.")
    if not edit.used and not edit.reason.strip():
        raise StillairError("Say why the pass is left out: whoever reads this in three years needs the reason.")
    run = find_run(day, number)
    old = [one for one in run.passes if _same(one, edit, replaces)]
    kept = tuple(one for one in run.passes if not _same(one, edit, replaces))
    edits = tuple(sorted((*kept, edit), key=lambda one: one.start_s))
    span = f"{edit.start_s:.1f} to {edit.end_s:.1f} s"
    what = f"run {number}: pass {span} " + ("kept by hand" if edit.used else f"left out ({edit.reason.strip()})")
    before = [plain(one) for one in old] or ({"span_s": list(replaces)} if replaces else None)
    return Change(
        _with_run(day, replace(run, passes=edits)),
        "pass-edited",
        f"run {number}, pass {span}",
        before,
        plain(edit),
        what,
    )


def clear_pass_edits(day: Day, number: int, start_s: float, end_s: float) -> Change:
    """Take a person's words on a stretch back; the program finds the pass by itself again."""
    run = find_run(day, number)
    gone = [one for one in run.passes if one.start_s < end_s and one.end_s > start_s]
    if not gone:
        raise StillairError(f"Nobody changed a pass between {start_s:.1f} and {end_s:.1f} s of run {number}.")
    kept = tuple(one for one in run.passes if one not in gone)
    span = f"{start_s:.1f} to {end_s:.1f} s"
    return Change(
        _with_run(day, replace(run, passes=kept)),
        "pass-edited",
        f"run {number}, pass {span}",
        [plain(one) for one in gone],
        None,
        f"run {number}: what was said by hand of {span} taken back",
    )


def change_car(day: Day, name: str, value: Any, axle: str | None = None) -> Change:
    """A property of the car, or of one axle, corrected; value: a Quantity, a number, a table or None."""
    owner: Car | Axle = day.car if axle is None else _axle(day.car, axle)
    if not hasattr(owner, name) or name in {"front", "rear", "calibration"}:
        raise StillairError(f"A car has no property called {name[:40]}.")
    before = getattr(owner, name)
    changed = replace(owner, **{name: value})
    car = changed if isinstance(changed, Car) else replace(day.car, **{str(axle): changed})
    subject = f"car: {name}" if axle is None else f"car, {axle} axle: {name}"
    what = f"{subject} from {in_words(before)} to {in_words(value)}"
    return Change(replace(day, car=car), "car-changed", subject, plain(before), plain(value), what)


def change_calibration(day: Day, role: str, calibration: Calibration | None) -> Change:
    """A sensor's calibration given, changed or (None) taken away."""
    before = day.car.calibration.get(role)
    rest = {key: one for key, one in day.car.calibration.items() if key != role}
    after = rest if calibration is None else {**rest, role: calibration}
    what = f"calibration of {role} " + ("taken away" if calibration is None else "changed" if before else "given")
    changed = replace(day, car=replace(day.car, calibration=after))
    return Change(changed, "calibration-changed", f"calibration of {role}", plain(before), plain(calibration), what)


def add_setup(day: Day, setup: Setup) -> Change:
    """A setup that was not there before."""
    if any(one.name == setup.name for one in day.setups):
        raise StillairError(f"Setup “{setup.name}” is there already; revise it instead.")
    if not setup.name.strip():
        raise StillairError("A setup needs a name, such as a letter.")
    if setup.baseline is not None:
        find_setup(day, setup.baseline)
    changed = replace(day, setups=(*day.setups, setup))
    return Change(changed, "setup-added", f"setup {setup.name}", None, plain(setup), f"setup {setup.name} added")


def revise_setup(day: Day, name: str, revised: Setup, runs: tuple[int, ...] = ()) -> Change:
    """A setup changed. Once it was run it stays as it is: the revision stands beside it under another name.

    runs: those of the old one that were really driven in the revised one.
    """
    old = find_setup(day, name)
    was_run = bool(runs_of(day, name))
    if not was_run and revised.name == name:
        setups = tuple(revised if one.name == name else one for one in day.setups)
        return Change(
            replace(day, setups=setups),
            "setup-changed",
            f"setup {name}",
            plain(old),
            plain(revised),
            f"setup {name} changed",
        )
    if revised.name == name:
        raise StillairError(f"Setup {name} was run and stays as it is; give the revised one a name of its own.")
    changed = replace(day, setups=add_setup(day, revised).day.setups)
    for number in runs:
        changed = _with_run(changed, replace(find_run(changed, number), setup=revised.name))
    moved = f", runs {', '.join(map(str, runs))} moved to it" if runs else ""
    after = {"setup": plain(revised), "runs": list(runs)}
    return Change(
        changed, "setup-revised", f"setup {name}", plain(old), after, f"setup {name} revised as {revised.name}{moved}"
    )


def change_weather(day: Day, weather: tuple[WeatherReading, ...]) -> Change:
    """Other readings of air and wind."""
    if not weather:
        raise StillairError("A day needs at least one reading of pressure and temperature.")
    before, after = [plain(one) for one in day.weather], [plain(one) for one in weather]
    what = f"weather: {len(weather)} reading{'s' if len(weather) > 1 else ''}"
    return Change(replace(day, weather=weather), "weather-changed", "weather", before, after, what)


def change_channels(day: Day, channels: Mapping[str, str], run: int | None = None) -> Change:
    """Which column plays which role, for all logs of the day or for one run."""
    if run is not None:
        return change_run(day, run, channels=dict(channels))
    before = dict(day.channels)
    changed = replace(day, channels=dict(channels))
    return Change(changed, "roles-changed", "columns", before, dict(channels), "roles of columns changed")


def change_day(day: Day, **facts: Any) -> Change:
    """Name, date, notes, reference speed, time zone or the venue."""
    allowed = {"name", "date", "notes", "reference_speed_mps", "timezone", "venue"}
    if unknown := set(facts) - allowed:
        raise StillairError(f"A day's {sorted(unknown)[0]} can't be changed here.")
    before = {name: plain(getattr(day, name)) for name in facts}
    after = {name: plain(value) for name, value in facts.items()}
    changed = replace(day, **facts)
    return Change(changed, "day-changed", "day", before, after, f"day: {', '.join(facts)} changed".replace("_", " "))


def plain(value: Any) -> Any:
    """A value of a day as JSON."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: plain(getattr(value, f.name)) for f in fields(value) if f.name not in {"recordings", "recording"}
        }
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return value if value is None or isinstance(value, str | int | float | bool) else str(value)


def in_words(value: Any) -> str:
    """A property's value as a sentence says it, in SI units."""
    if isinstance(value, Quantity):
        return f"{value.value:g}" + (f" (u {value.u:.2g})" if value.u else "")
    if value is None:
        return "nothing"
    return f"a table of {len(value)} lines" if isinstance(value, tuple) else str(value)


def _same(one: PassEdit, edit: PassEdit, replaces: tuple[float, float] | None) -> bool:
    """Whether an older edit speaks of the same pass: it overlaps the new stretch, or the one that it was."""
    spans = [(edit.start_s, edit.end_s), *([replaces] if replaces else [])]
    return any(one.start_s < end - NEAR_S and one.end_s > start + NEAR_S for start, end in spans)


def _axle(car: Car, axle: str) -> Axle:
    if axle not in {"front", "rear"}:
        raise StillairError(f"An axle is front or rear, not {axle[:20]}.")
    return car.front if axle == "front" else car.rear


def _with_run(day: Day, run: Run) -> Day:
    return replace(day, runs=tuple(run if one.number == run.number else one for one in day.runs))
