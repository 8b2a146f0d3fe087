"""Tables of predictions in any writing: the same columns and cells come out, or one sentence says why not."""

from __future__ import annotations

import io
import random

import openpyxl  # type: ignore[import-untyped]
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import LogError
from server.readers.prediction_reading import lacks, proposed_reading
from server.readers.prediction_roles import propose
from server.readers.prediction_rows import predicted_rows
from server.readers.prediction_table import GivenTable, read_table

NAMES = ("Config", "RH front [mm]", "RH rear [mm]", "Cd", "Cl front", "Cl rear")
ROWS = (("Base, new", "26", "30", "1.25", "-1.43", "-1.71"), ("Flap up", "22", "26", "1.31", "-1.5", "-1.8"))


def written(separator: str, decimal: str = ".", quote: bool = False) -> str:
    def cell(text: str) -> str:
        text = text.replace(".", decimal) if text[-1].isdigit() else text
        return f'"{text}"' if quote or separator in text else text

    return "\r\n".join(separator.join(cell(one) for one in row) for row in (NAMES, *ROWS)) + "\r\n"


def workbook(rows: list[list[object]], before: int = 0) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    for _ in range(before):
        sheet.append([])
    for row in rows:
        sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def numbers(table: GivenTable) -> list[object]:
    """The cases that the table becomes, lift up and with a reference area."""
    from dataclasses import replace

    reading = proposed_reading(table)
    reading = replace(reading, conventions=replace(reading.conventions, reference_area_m2=1.0))
    assert list(lacks(table, reading)) == []
    return [row.case for row in predicted_rows(table, reading)]


PLAIN = read_table("t.csv", written(",").encode())


@pytest.mark.parametrize(
    "data",
    [
        *(written(separator).encode() for separator in ",;\t|"),
        *(written(separator, ",").encode() for separator in ";\t|"),
        written(";", ",", quote=True).encode(),
        *(written(";", ",").encode(codec) for codec in ("utf-8-sig", "utf-16", "cp1252")),
        ("Summary of July\n\n# made up\n" + written(";", ",")).encode(),
        workbook([list(NAMES), *(["Base, new", 26, 30.0, 1.25, -1.43, -1.71], ["Flap up", 22, 26, 1.31, -1.5, -1.8])]),
        workbook([list(NAMES), *map(list, ROWS)], before=3),
    ],
)
def test_the_same_table_in_any_writing(data: bytes) -> None:
    table = read_table("t", data)
    assert [column.name for column in table.columns] == [column.name for column in PLAIN.columns]
    assert numbers(table) == numbers(PLAIN)
    assert table.shape == PLAIN.shape


def test_units_in_a_row_of_their_own_and_in_cells() -> None:
    below = read_table("t", b"Case;RH front;Drag;Lift\n;mm;N;N\nA;30;12,5;-3,1\n")
    assert [column.unit for column in below.columns] == [None, "mm", "N", "N"]
    assert below.rows[0].line == 3
    inside = read_table("t", b"Case,Side Offset, Drag [N]\nA,4.0 m,12.5 N\nB,2.0 m,13 N\n")
    assert inside.rows[1].cells == ("B", "2.0 m", "13 N")


def test_lines_keep_their_numbers_over_blank_ones_and_breaks_in_cells() -> None:
    table = read_table("t", b'Case,Cd,note\n\n"A",1.2,"two\nlines"\n\nB,1.3,x\n')
    assert [row.line for row in table.rows] == [3, 6]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "is empty"),
        (b"nothing here", "no table"),
        (b"a,b\nc,d\n", "no line with numbers"),
        (b"1,2\n3,4\n", "line of names must stand above"),
        (b"\x89PNG\r\n\x1a\n123", "picture"),
        (b"PK\x03\x04 broken", "damaged zip or workbook"),
        (b"<html><body>1,2</body></html>", "web page"),
        (b"a,b\n" + b"1,2\n" * 5001, "5,001 rows"),
        (b"a,b\nA," + b"9" * 3000 + b"\n", "more than 2,000 signs"),
        (b"a,b\n" * 2_000_000, "MB at most"),
    ],
)
def test_what_is_no_table_gets_one_sentence(data: bytes, sentence: str) -> None:
    with pytest.raises(LogError, match=sentence):
        read_table("t", data)


def test_a_workbook_that_claims_a_million_lines_is_not_walked() -> None:
    book = openpyxl.Workbook()
    book.active["A1"], book.active["B1"], book.active["A2"], book.active["B2"] = "Case", "Cd", "A", 1.2
    book.active["B1000000"] = 3
    stream = io.BytesIO()
    book.save(stream)
    assert len(read_table("t.xlsx", stream.getvalue()).rows) == 1


@pytest.mark.parametrize(
    ("header", "roles"),
    [
        ("setup,front_ride_height_mm,rear_ride_height_mm,yaw_deg,speed_mps,scx_m2,scz_front_m2,scz_rear_m2,scx_u_m2",
         "setup front_ride_height rear_ride_height yaw speed drag lift_front lift_rear drag_u"),
        ("Config;FRH [mm];RRH [mm];Cd;Cl;Clf;Clr;Aref;Cells;GCI Cd [%]",
         "setup front_ride_height rear_ride_height drag lift lift_front lift_rear reference_area cells drag_u"),
        ("Case,Velocity,Drag Force (N),Downforce (N),Aero balance,Pitching moment",
         "setup speed drag lift balance moment"),
        ("Tap,Setup,Cp,u_cp", "tap setup cp cp_u"),
        ("Variante;Luftwiderstand [N];Auftrieb vorn [N];Auftrieb hinten [N]", "setup drag lift_front lift_rear"),
        ("X-momentum,Continuity,Tke", " - -"),
    ],
)  # fmt: skip
def test_roles_are_proposed_by_names(header: str, roles: str) -> None:
    separator = ";" if ";" in header else ","
    count = header.count(separator) + 1
    line = separator.join(["A", *["1"] * (count - 1)])
    found = [one.role or "-" for one in propose(read_table("t", f"{header}\n{line}\n".encode()))]
    assert found == [one or "-" for one in roles.split(" ")]


def read_or_sentence(name: str, data: bytes) -> GivenTable | str:
    try:
        return read_table(name, data)
    except LogError as refusal:
        return str(refusal)


SIGNS = st.text(alphabet='0123456789.,;|\t-+eE "\n\r\'mN%[]()ABuC²°\x00é', max_size=400)


@settings(max_examples=150, deadline=None)
@given(st.one_of(SIGNS.map(str.encode), st.binary(max_size=300), SIGNS.map(lambda text: f"Case;Cd\n{text}".encode())))
def test_whatever_comes_is_a_table_or_one_sentence(data: bytes) -> None:
    table = read_or_sentence("t.csv", data)
    if isinstance(table, str):
        assert table.startswith("t.csv")
        assert "\n" not in table
        return
    reading = proposed_reading(table)
    sentences = [sentence for _, sentence in lacks(table, reading)]
    assert all(sentence.endswith(".") for sentence in sentences)
    for row in predicted_rows(table, reading):
        assert row.taken or row.problem.startswith(f"Line {row.line}")


def test_a_damaged_workbook_is_a_sentence() -> None:
    """Bytes of a sound one turned at random places."""
    sound = workbook([list(NAMES), *map(list, ROWS)])
    generator = random.Random(2_600_201)
    for _ in range(60):
        data = bytearray(sound)
        for _ in range(generator.choice([1, 4, 30])):
            data[generator.randrange(len(data))] = generator.randrange(256)
        told = read_or_sentence("t.xlsx", bytes(data))
        assert not isinstance(told, str) or told.startswith("t.xlsx")
