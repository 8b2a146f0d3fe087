"""Changes of setups: one is added, or changed as long as nobody drove it, or revised under a name of its own.

Every function raises StillairError with one sentence where the change makes no sense.
"""

from __future__ import annotations

from dataclasses import replace

from server.days.change import Change, find_run, find_setup, plain, runs_of, with_run
from server.errors import StillairError
from server.testday.values import Day, Setup


def add_setup(day: Day, setup: Setup) -> Change:
    """A setup that was not there before."""
    setup = _named(setup)
    if any(one.name == setup.name for one in day.setups):
        raise StillairError(f"Setup “{setup.name}” is there already; revise it instead.")
    changed = replace(day, setups=(*day.setups, setup))
    _check_baselines(changed, setup)
    return Change(changed, "setup-added", f"setup {setup.name}", None, plain(setup), f"setup {setup.name} added")


def revise_setup(day: Day, name: str, revised: Setup, runs: tuple[int, ...] = ()) -> Change:
    """A setup changed. Once it was run it stays as it is: the revision stands beside it under another name.

    runs: those of the old one that were really driven in the revised one.
    """
    old, revised = find_setup(day, name), _named(revised)
    driven = runs_of(day, name)
    if not driven:
        return _changed(day, old, revised)
    if revised.name == name:
        raise StillairError(f"Setup {name} was run and stays as it is; give the revised one a name of its own.")
    if wrong := [number for number in runs if number not in driven]:
        raise StillairError(f"Run {wrong[0]} was not driven in setup {name}.")
    changed = add_setup(day, revised).day
    for number in runs:
        changed = with_run(changed, replace(find_run(changed, number), setup=revised.name))
    moved = f", run{'s' if len(runs) > 1 else ''} {', '.join(map(str, runs))} moved to it" if runs else ""
    after = {"setup": plain(revised), "runs": list(runs)}
    what = f"setup {name} revised as {revised.name}{moved}"
    return Change(changed, "setup-revised", f"setup {name}", plain(old), after, what)


def _changed(day: Day, old: Setup, revised: Setup) -> Change:
    """A setup that nobody drove, changed where it stands; what names it goes along with a new name."""
    if revised.name != old.name and any(one.name == revised.name for one in day.setups):
        raise StillairError(f"Setup “{revised.name}” is there already; give this one a name of its own.")

    def renamed(name: str | None) -> str | None:
        return revised.name if name == old.name else name

    setups = (revised if one.name == old.name else replace(one, baseline=renamed(one.baseline)) for one in day.setups)
    predictions = (replace(one, setup=revised.name) if one.setup == old.name else one for one in day.predictions)
    wanted = (replace(one, setup=renamed(one.setup) or "", baseline=renamed(one.baseline) or "") for one in day.wanted)
    changed = replace(day, setups=tuple(setups), predictions=tuple(predictions), wanted=tuple(wanted))
    _check_baselines(changed, revised)
    what = f"setup {old.name} changed" + (f", now called {revised.name}" if revised.name != old.name else "")
    return Change(changed, "setup-changed", f"setup {old.name}", plain(old), plain(revised), what)


def _named(setup: Setup) -> Setup:
    """The setup with blanks around its name taken off, as a folder keeps it."""
    name = setup.name.strip()
    if not name:
        raise StillairError("A setup needs a name, such as a letter.")
    return replace(setup, name=name)


def _check_baselines(day: Day, setup: Setup) -> None:
    """A baseline is another setup of the day and leads to no circle."""
    seen, following = [setup.name], setup.baseline
    while following is not None:
        seen.append(following)
        if following == setup.name:
            raise StillairError(f"The baseline of setup {setup.name} leads back to itself ({' → '.join(seen)}).")
        if following in seen[:-1]:
            return
        following = find_setup(day, following).baseline
