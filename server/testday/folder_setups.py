"""The [[setups]] of a day folder: named changes to a baseline."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from server.testday import folder_keys as keys
from server.testday.folder_numbers import exact_number, quantity, written_number
from server.testday.folder_table import Table, listing, nearest
from server.testday.values import Setup

ONLY_SETUP = "A"


def read_setups(root: Table) -> tuple[Setup, ...]:
    """Read the setups; names are unique, baselines are defined and lead to no circle."""
    tables = root.tables("setups", "[[setups]]", called_by="name")
    setups = tuple(_setup(table) for table in tables)
    names = [setup.name for setup in setups]
    for index, (table, setup) in enumerate(zip(tables, setups, strict=True)):
        if setup.name in names[:index]:
            table.refuse("name", f"is {setup.name!r}, which another setup has already.")
        _check_baseline(table, setup, {other.name: other for other in setups})
    return setups


def _setup(table: Table) -> Setup:
    name = table.name("name")
    if not name:
        table.missing("name", "; a setup needs one")
    front, rear = (exact_number(table, key) for key in keys.RIDE_HEIGHTS)
    scz_front, scz_rear = (quantity(table, key) for key in keys.SCZ)
    return Setup(
        name=name,
        baseline=table.name("baseline"),
        front_ride_height_m=front,
        rear_ride_height_m=rear,
        parts=_parts(table),
        scz_front_m2=scz_front,
        scz_rear_m2=scz_rear,
        notes=table.text("notes") or "",
        ballast_kg=quantity(table, keys.BALLAST),
    )


def _parts(table: Table) -> Mapping[str, str | float | bool]:
    """Read the free keys of what is fitted: texts, numbers, true or false."""
    parts = table.table("parts", f"{table.label} parts", "parts = { … }")
    return {} if parts is None else {name: _part(parts, name) for name in parts.values}


def _part(parts: Table, name: str) -> str | float | bool:
    value = parts.get(name)
    if isinstance(value, bool | str):
        return value
    if isinstance(value, int | Decimal):
        written = written_number(parts, name)
        return float(written or 0)
    return parts.wrong_type(name, value, "text, a number, true or false")


def _check_baseline(table: Table, setup: Setup, defined: Mapping[str, Setup]) -> None:
    seen = [setup.name]
    following = setup.baseline
    while following is not None:
        if following not in defined:
            if len(seen) > 1:  # said at the setup that names it
                return
            why = f"is {following!r}; no [[setups]] has that name{nearest(following, defined)}."
            table.refuse("baseline", why)
        if following == setup.name:
            table.refuse("baseline", f"leads back to the setup itself ({' → '.join([*seen, following])}).")
        if following in seen:
            return
        seen.append(following)
        following = defined[following].baseline


def setup_of_run(table: Table, setups: tuple[Setup, ...]) -> str:
    """Return the setup a run names; where only one is defined, or none, it need not be named.

    With no [[setups]] at all, a run's word defines a bare setup of that name.
    """
    name = table.name("setup")
    names = [setup.name for setup in setups]
    if name:
        if names and name not in names:
            table.refuse("setup", f"is {name!r}; no [[setups]] has that name (there is {listing(names)}).")
        return name
    if len(names) > 1:
        table.missing("setup", f"; there is {listing(names)}")
    return names[0] if names else ONLY_SETUP
