"""Numbers of a day folder's tables: range and unit checked, uncertainty found, default taken."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from itertools import pairwise

from server.testday.defaults import missing_quantity, typed_u
from server.testday.folder_keys import Key
from server.testday.folder_table import Table, shown
from server.testday.quantities import UNITS, clock_to_s, difference_from_si, difference_to_si, from_si, to_si
from server.testday.values import Quantity, Source

SOURCES = "sources"
_SOURCE_WORDS = ("measured", "typed", "predicted", "default")
_HUGE = Decimal("1e300")


def written_number(table: Table, key: str) -> Decimal | None:
    """Return a number's digits as written; text, NaN and infinity are refused."""
    return None if table.get(key) is None else _decimal(table, key, table.values[key])


def number(table: Table, key: Key) -> float | None:
    """Return a plain number in SI, within the key's range; None if absent."""
    written = written_number(table, key.name)
    return None if written is None else to_si(_in_range(table, key, key.name, written), key.unit)


def exact_number(table: Table, key: Key) -> float | None:
    """Return a plain number in SI; an uncertainty beside it is checked, and noted as having no use."""
    unused = [name for name in key.names[1:] if _uncertainty(table, key, name) is not None]
    for name in unused:
        table.note("u-unused", f"{table.place(name)} is not used: the analysis takes {key.name} as exact.")
    return number(table, key)


def needed_number(table: Table, key: Key) -> float:
    """Return a plain number that has no default [SI]."""
    value = number(table, key)
    if value is None:
        table.missing(key.name)
    return value


def quantity(table: Table, key: Key) -> Quantity | None:
    """Return a value with its stated uncertainty, else the one typical of a bare number; None if absent."""
    value = number(table, key)
    u = stated_u(table, key, value)
    if value is None:
        return None
    return Quantity(value, typed_u(key.field, value) if u is None else u, source_of(table, key))


def stated_u(table: Table, key: Key, value: float | None) -> float | None:
    """Return the uncertainty stated beside a value [both SI], absolute or relative; None where there is none.

    Two at once are refused, and so is one without its value (unless it also speaks of another key:
    driveline_drag_rel_u holds for both parts of the driveline drag).
    """
    absolute = _uncertainty(table, key, key.u_name)
    relatives = {name: u for name in key.rel_u_names if (u := _uncertainty(table, key, name)) is not None}
    named = [*([key.u_name] if absolute is not None else []), *relatives]
    if value is None:
        if named and not (absolute is None and _stem_shared(table, key)):
            table.refuse(named[0], f"is given without {key.name}.")
        return None
    if len(named) > 1:
        table.refuse(named[0], f"is given beside {named[1]}; give one uncertainty.")
    if absolute is not None:
        return difference_to_si(absolute, key.unit)
    return abs(value) * float(relatives[named[0]]) if named else None


def quantity_or_default(
    table: Table, key: Key, default: Quantity | None = None, *, said: bool = True
) -> Quantity:
    """Return a value, or its wide default with a finding that names what was taken.

    said: False for a property whose default is noted later, where something logged needs it.
    """
    given = quantity(table, key)
    taken = given or default or missing_quantity(key.field)
    if said and taken.source == "default":
        table.note("default-used", f"{table.place(key.name)} is not given; {spoken(taken, key)} is used.")
    return taken


def source_of(table: Table, key: Key) -> Source:
    """Return where a given value came from: typed, unless the table's `sources` says otherwise."""
    sources = table.table(SOURCES, f"{table.label} {SOURCES}", f"{SOURCES} = {{ … }}")
    if sources is None:
        return "typed"
    word = sources.word(key.name, _SOURCE_WORDS, "a source")
    return word or "typed"  # type: ignore[return-value]  # word() has checked it


def spoken(taken: Quantity, key: Key) -> str:
    """Say a quantity in the unit of its key: "1.55 ± 0.05 m (one standard uncertainty)"."""
    value, u = from_si(taken.value, key.unit), difference_from_si(taken.u, key.unit)
    unit = f" {UNITS[key.unit].shown}" if UNITS[key.unit].shown else ""
    return f"{float(value):.6g} ± {float(u):.3g}{unit} (one standard uncertainty)"


def number_list(table: Table, key: Key, name: str, count: int) -> list[Decimal] | None:
    """Return a list of exactly `count` numbers, each within the key's range, as written."""
    entries = table.items(name, f"a list of {count} numbers")
    if table.values.get(name) is None:
        return None
    if len(entries) != count:
        table.refuse(name, f"has {len(entries)} entries; it must have {count}.")
    return [_in_range(table, key, name, _decimal(table, name, entry)) for entry in entries]


def listed_number(table: Table, key: Key, entry: object) -> float:
    """Return one entry of a list of numbers in SI, within the key's range."""
    return to_si(_in_range(table, key, key.name, _decimal(table, key.name, entry)), key.unit)


def rising_pairs(table: Table, name: str, first: Key, second: Key) -> tuple[tuple[float, float], ...]:
    """Return a list of [first, second] pairs in SI; at least two, the first rising from one to the next."""
    wanted = f"a list of [{first.stem}, {second.stem}] pairs"
    pairs = []
    for entry in table.items(name, wanted):
        if not isinstance(entry, list) or len(entry) != 2:
            table.wrong_type(name, entry, wanted)
        written = [
            _in_range(table, key, name, _decimal(table, name, item))
            for key, item in zip((first, second), entry, strict=True)
        ]
        pairs.append((to_si(written[0], first.unit), to_si(written[1], second.unit)))
    if table.values.get(name) is not None and len(pairs) < 2:
        table.refuse(name, "has fewer than two rows; a table needs two or more.")
    if any(b[0] <= a[0] for a, b in pairwise(pairs)):
        table.refuse(name, f"must rise in its first column ({first.stem}) from row to row.")
    return tuple(pairs)


def clock(table: Table, key: str) -> float | None:
    """Return a local clock time [s after midnight], written bare or in quotes as HH:MM or HH:MM:SS."""
    value = table.get(key)
    if value is None:
        return None
    text = value.isoformat() if isinstance(value, dt.time) else value
    seconds = clock_to_s(text) if isinstance(text, str) else None
    if seconds is None:
        table.wrong_type(key, value, "a clock time such as 09:30 or 09:30:00")
    return seconds


def _decimal(table: Table, key: str, value: object) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        table.wrong_type(key, value, "a number")
    digits = Decimal(value)
    if not digits.is_finite() or abs(digits) > _HUGE:
        table.refuse(key, f"is {shown(value)}; it must be a finite number.")
    return digits


def _in_range(table: Table, key: Key, name: str, written: Decimal) -> Decimal:
    if Decimal(str(key.low)) <= written <= Decimal(str(key.high)):
        return written
    unit = f" {UNITS[key.unit].shown}" if UNITS[key.unit].shown else ""
    limits = f"{_bound(key.low)} and {_bound(key.high)}{unit}{key.hint(float(written))}"
    return table.refuse(name, f"is {shown(written)}; {key.what} must lie between {limits}.")


def _bound(limit: float) -> str:
    return f"{limit:,g}".replace("-", "−")


def _uncertainty(table: Table, key: Key, name: str) -> Decimal | None:
    written = written_number(table, name)
    if written is None:
        return None
    relative = name in key.rel_u_names
    limit = 1.0 if relative else min(key.high - key.low, 1e9)
    if 0 <= written <= limit:
        return written
    what = "a relative standard uncertainty" if relative else "a standard uncertainty"
    hint = " (per cent?)" if relative and 1 < written <= 100 else ""
    return table.refuse(name, f"is {shown(written)}; {what} must lie between 0 and {_bound(limit)}{hint}.")


def _stem_shared(table: Table, key: Key) -> bool:
    """Say whether another value of the table has the same stem."""
    others = (name for name in table.values if name.startswith(f"{key.stem}_") and name != key.name)
    return any("_u" not in name for name in others)
