"""What a team keeps beside the numbers of a day: its checklist, who acknowledged what, the intervals it wants."""

from __future__ import annotations

from server.testday import folder_keys as keys
from server.testday.folder_numbers import clock, listed_number
from server.testday.folder_table import Table
from server.testday.folder_write_tables import number
from server.testday.folder_write_toml import Pairs, clock_value
from server.testday.values import Acknowledgement, Setup, WantedWidth


def read_checklist(root: Table) -> tuple[str, ...]:
    """Read the team's own checks, blanks and doubles left out."""
    return _texts(root, "checklist")


def read_acknowledged(root: Table) -> tuple[Acknowledgement, ...]:
    """Read who acknowledged what, in the order of the file."""
    return tuple(_acknowledged(table) for table in root.tables("acknowledged", "[[acknowledged]]", called_by="time"))


def _acknowledged(table: Table) -> Acknowledgement:
    time, who = clock(table, "time"), table.name("who")
    if time is None:
        table.missing("time", "; it says when, such as 09:10:00")
    if who is None:
        table.missing("who", "; somebody acknowledges by name")
    items = _texts(table, "items")
    if not items:
        table.missing("items", '; it says what, such as ["wheel nuts"]')
    return Acknowledgement(time, who, items, table.name("why") or "")


def read_wanted(root: Table, setups: tuple[Setup, ...]) -> tuple[WantedWidth, ...]:
    """Read the wanted half widths of SCx; each difference and each area is named once."""
    tables = root.tables("wanted", "[[wanted]]", called_by="setup")
    found: list[WantedWidth] = []
    for table in tables:
        one = _wanted(table, {setup.name for setup in setups})
        if any((one.setup, one.baseline) == (other.setup, other.baseline) for other in found):
            table.refuse("setup", f"is {one.setup!r}, whose width is given already.")
        found.append(one)
    return tuple(found)


def _wanted(table: Table, names: set[str]) -> WantedWidth:
    setup, baseline = table.name("setup") or "", table.name("baseline") or ""
    for key, name in (("setup", setup), ("baseline", baseline)):
        if name and names and name not in names:
            table.refuse(key, f"is {name!r}; no [[setups]] has that name.")
    if bool(setup) != bool(baseline) or (setup and setup == baseline):
        table.refuse("baseline", "and setup name two different setups, or neither is given for each setup's own area.")
    width = table.get(keys.WANTED_U95.name)
    if width is None:
        table.missing(keys.WANTED_U95.name)
    return WantedWidth(listed_number(table, keys.WANTED_U95, width), setup, baseline, table.name("source") or "")


def _texts(table: Table, key: str) -> tuple[str, ...]:
    entries = table.items(key, "a list of texts")
    if wrong := next((entry for entry in entries if not isinstance(entry, str)), None):
        table.wrong_type(key, wrong, "a list of texts")
    return tuple(dict.fromkeys(text for entry in entries if (text := str(entry).strip())))


def acknowledged_pairs(one: Acknowledgement) -> Pairs:
    """Return one [[acknowledged]]."""
    return {"time": clock_value(one.clock_s), "who": one.who, "why": one.why or None, "items": list(one.items)}


def wanted_pairs(one: WantedWidth) -> Pairs:
    """Return one [[wanted]]."""
    return {
        "setup": one.setup or None,
        "baseline": one.baseline or None,
        **number(keys.WANTED_U95, one.u95_m2),
        "source": one.source or None,
    }
