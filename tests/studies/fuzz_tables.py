"""Malformed tables: predictions as text, workbook, pasted cells and JSON; times typed by hand; stations; taps."""

from __future__ import annotations

import io
import random
import zipfile

from tests.studies.fuzz_files import NUMBERS, WORDS, Case, damaged_name, mutate, zipped

AREAS = ("setup", "front_ride_height_mm", "rear_ride_height_mm", "yaw_deg", "speed_mps", "scx_m2", "scz_front_m2",
         "scz_rear_m2", "scx_u_m2", "part", "source")  # fmt: skip
FORCES = ("Variante", "RH vorn [mm]", "RH hinten [mm]", "Drag Force [N]", "Auftrieb vorn [N]", "Cd", "mesh", "tap",
          "Cp")  # fmt: skip
STATIONS = ("part", "station", "x_mm", "y_mm", "direction_deg", "condition")
TAPS = ("setup", "tap", "cp", "u", "run")
BOMB_LEVELS, BOMB_BYTES = 12, 40_000_000
SHEET = "xl/worksheets/sheet1.xml"
CORE = b'<coreProperties xmlns="http://schemas.openxmlformats.org/package/2006/metadata/core-properties"/>'
FAR = (
    b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><dimension ref="A1:XFD1048576"/>'
    b'<sheetData><row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>a</t></is></c></row></sheetData></worksheet>'
)


def table_case(seed: int, chance: random.Random) -> Case:
    """A table, sent where tables of its kind come in."""
    kinds = ("prediction-file", "prediction-book", "prediction-pasted", "prediction-json", "typed", "stations", "taps")
    kind = chance.choices(kinds, (20, 25, 10, 10, 15, 10, 10))[0]
    if kind == "typed":
        return Case(seed, kind, "typed times", b"", _typed(chance))
    if kind == "prediction-book":
        return Case(seed, kind, damaged_name(f"cases {seed}.xlsx", chance), _book(chance))
    heads = STATIONS if kind == "stations" else TAPS if kind == "taps" else chance.choice((AREAS, FORCES))
    data = _text(heads, chance)
    data = mutate(data, chance) if chance.random() < 0.4 else data
    if kind == "prediction-file":
        return Case(seed, kind, damaged_name(f"cases {seed}.csv", chance), data)
    return Case(seed, kind, kind, data, {"said": [chance.choice(("lift", "downforce", "sideways", ""))]})


def _text(heads: tuple[str, ...], chance: random.Random) -> bytes:
    separator, count = chance.choice((",", ";", "\t")), chance.choice((0, 1, 3, 30, 300))
    names = list(heads)
    if chance.random() < 0.4:
        names = chance.choices([*heads, *WORDS], k=chance.choice((1, 5, 11, 200)))
    rows = [names, *(_row(names, chance) for _ in range(count))]
    for _ in range(chance.choice((0, 0, 1, 3))):
        rows.insert(chance.randrange(len(rows) + 1), [chance.choice(WORDS)] * chance.choice((1, 40)))
    encoding = chance.choice(("utf-8", "utf-8", "utf-8", "cp1252", "utf-16"))
    return "\n".join(separator.join(row) for row in rows).encode(encoding, "replace")


def _row(names: list[str], chance: random.Random) -> list[str]:
    wild = chance.choice((0.0, 0.0, 0.1, 0.8))
    return [_cell(name, wild, chance) for name in names]


def _cell(name: str, wild: float, chance: random.Random) -> str:
    if chance.random() < wild:
        return chance.choice(NUMBERS if chance.random() < 0.7 else WORDS)
    if name in ("setup", "Variante", "part", "tap", "station", "source", "condition", "mesh"):
        return chance.choice(("A", "B", "1", "floor", ""))
    return f"{chance.uniform(0, 3):.3f}"


def _typed(chance: random.Random) -> dict[str, list[str]]:
    """Rows of two speeds and the seconds between them, and what is said of the run."""
    count = chance.choice((0, 1, 4, 8, 250))

    def column(low: float, high: float) -> list[str]:
        wild, sound = chance.choice((0.0, 0.0, 0.3)), [f"{chance.uniform(low, high):.1f}" for _ in range(count)]
        return [chance.choice(NUMBERS) if chance.random() < wild else one for one in sound]

    rows = {"from": column(70, 90), "to": column(20, 50), "out": column(5, 30), "back": column(5, 30)}
    facts = {
        "setup": chance.choice(("A", "Z", "")), "driver": chance.choice(("72", *NUMBERS[:9])),
        "start": chance.choice(("", "10:05", *NUMBERS[:9])), "coasting": chance.choice(("neutral", "x", "")),
        "seconds_u": chance.choice(("", "0.2", *NUMBERS)), "gain": chance.choice(("", "1.0", *NUMBERS)),
        "notes": chance.choice(WORDS),
    }  # fmt: skip
    return rows | {name: [value] for name, value in facts.items()}


def _book(chance: random.Random) -> bytes:
    which, book = chance.random(), _sound_book(chance)
    if which < 0.1:
        return _with_part(book, SHEET, _laughing(chance))
    if which < 0.2:
        place = chance.choice(("xl/sharedStrings.xml", SHEET, "xl/styles.xml", "xl/media/a.bin"))
        return _with_part(book, place, b"<x>" + b" " * BOMB_BYTES + b"</x>")
    if which < 0.3:
        return _with_part(book, SHEET, FAR)
    if which < 0.5:
        return _with_part(book, SHEET, mutate(zipfile.ZipFile(io.BytesIO(book)).read(SHEET), chance))
    return mutate(book, chance) if which < 0.8 else book


def _sound_book(chance: random.Random) -> bytes:
    """Cells of every type that a workbook knows, in one sheet or several."""
    import datetime as dt

    from openpyxl import Workbook

    out, book = io.BytesIO(), Workbook()
    for number in range(chance.choice((1, 1, 1, 3))):
        sheet = book.worksheets[0] if number == 0 else book.create_sheet(f"S{number}")
        sheet.append(list(chance.choice((AREAS, FORCES))))
        odd = (None, True, 1e308, -1, 10**30, "=1/0", "#DIV/0!", dt.datetime(2026, 5, 9, 10), dt.time(10, 5), "NaN")
        for _ in range(chance.choice((0, 1, 5, 40))):
            wild = chance.choice((0.0, 0.2, 0.9))
            sheet.append([chance.choice(odd) if chance.random() < wild else chance.uniform(0, 3) for _ in range(9)])
        if chance.random() < 0.2:
            sheet.merge_cells("A1:C2")
    book.save(out)
    return _with_part(out.getvalue(), "docProps/core.xml", CORE)


def _with_part(book: bytes, place: str, content: bytes) -> bytes:
    """A workbook with other bytes in one of its parts."""
    with zipfile.ZipFile(io.BytesIO(book)) as sound:
        own = [(name, sound.read(name)) for name in sound.namelist() if name != place]
    return zipped([*own, (place, content)])


def _laughing(chance: random.Random) -> bytes:
    """XML whose entities stand for ever more of themselves, or for a file of the disk."""
    if chance.random() < 0.4:
        head = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
        return head + b"<worksheet><sheetData><row><c><v>&a;</v></c></row></sheetData></worksheet>"
    more = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, BOMB_LEVELS))
    return f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "ha">{more}]><x>&a{BOMB_LEVELS - 1};</x>'.encode()
