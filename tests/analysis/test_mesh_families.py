"""Rows on several meshes: the finest stands for the case with its index, what the meshes do is said."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from server.analysis.mesh_families import family_count, with_families
from server.readers.prediction_reading import Reading, lacks, proposed_reading
from server.readers.prediction_roles import ColumnRole
from server.readers.prediction_rows import predicted_rows
from server.readers.prediction_table import GivenTable, read_table
from server.testday.predicted import PredictedRow

REAL = Path(__file__).resolve().parents[3] / "shared" / "data" / "ahmed_fsae_cfd"
TOLD_APART = ("Offset", "Mesh Base", "Mesh Min", "Mesh Max Tet", "Ahmed Target Size", "Prism Layer")
TABLE = "Case,Cd [m2],Downforce [m2],Cells\n"


def rows_of(text: str) -> tuple[PredictedRow, ...]:
    table = read_table("t.csv", text.encode())
    reading = proposed_reading(table)
    assert list(lacks(table, reading)) == []
    return with_families(predicted_rows(table, reading))


def test_the_finest_stands_for_the_case() -> None:
    """φ = 1.2 + 0.01 h² with sizes 1, 1.5, 2.25: order 2, error of the finest 0.01, u = 1.25 · 0.01 / 1.15."""
    cells = [8e6 / 1.5 ** (3 * k) for k in range(3)]
    lines = [f"A,{1.2 + 0.01 * 2.25**k!r},3.1,{n!r}\n" for k, n in enumerate(cells)]
    rows = rows_of(TABLE + lines[1] + lines[0] + lines[2] + "B,1.3,3.2,5e6\n")
    assert family_count(rows) == {"cases": 2, "meshes": 2, "bad": 0}
    finest = next(row for row in rows if row.line == 3)
    assert finest.case is not None
    assert finest.case.scx_m2 is not None
    assert finest.case.scx_m2.value == pytest.approx(1.21)
    assert finest.case.scx_m2.u == pytest.approx(0.0125 / 1.15, rel=1e-6)
    told = "\n".join(finest.words)
    assert "order 2.00, extrapolated 1.2 m²" in told
    assert "GCI / 1.15" in told
    assert rows[0].words[-1] == "a coarser mesh of the case in line 3"


def test_a_stated_uncertainty_stands() -> None:
    rows = rows_of("Case,Cd [m2],u Cd [m2],Cells\nA,1.2,0.05,8e6\nA,1.21,0.05,2e6\nA,1.24,0.05,5e5\n")
    assert rows[0].case is not None
    assert rows[0].case.scx_m2 is not None
    assert rows[0].case.scx_m2.u == 0.05


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ((1.20, 1.21), "two meshes tell no order"),
        ((1.20, 1.22, 1.19), "swing about"),
        ((1.20, 1.15, 1.145), "does not converge"),
        ((1.20, 1.2001, 1.25), "no scheme has that order"),
    ],
)
def test_what_meshes_do_is_said(values: tuple[float, ...], words: str) -> None:
    lines = [f"A,{value},3.1,{8e6 / 4.0**k}\n" for k, value in enumerate(values)]
    finest = rows_of(TABLE + "".join(lines))[0]
    assert any(words in told for told in finest.words)
    assert finest.case is not None
    assert finest.case.scx_m2 is not None
    assert finest.case.scx_m2.u >= 0.4 * (max(values) - min(values))


def real_reading(table: GivenTable) -> Reading:
    """As proposed; the columns of the domain and of the mesh's settings, but its target size, tell cases apart."""
    proposed = proposed_reading(table)
    columns = tuple(
        ColumnRole("condition") if any(word in column.name for word in TOLD_APART) else role
        for column, role in zip(table.columns, proposed.columns, strict=True)
    )
    said = replace(proposed.conventions, setup="25° slant", reference_area_m2=0.112)
    return replace(proposed, columns=columns, conventions=said)


@pytest.mark.skipif(not REAL.is_dir(), reason="the open sweeps of ../shared/data/ahmed_fsae_cfd are not there")
@pytest.mark.parametrize(
    ("name", "cases", "meshes"), [("Base_300", 4, 64), ("Base_50", 4, 64), ("Benchmark", 18, 0), ("Side_-_Top", 45, 0)]
)
def test_real_sweeps(name: str, cases: int, meshes: int) -> None:
    """RANS sweeps of a generic body (github Ksodlehe/Ahmed-Analysis, MIT): headers with a stray blank, numbers with
    their unit in the cell, families of 17 meshes. None of the families converges as a scheme of second order would,
    which is said of each, and no index is believed."""
    table = read_table(f"{name}.csv", (REAL / f"{name}.csv").read_bytes())
    reading = real_reading(table)
    assert list(lacks(table, reading)) == []
    rows = with_families(predicted_rows(table, reading))
    assert family_count(rows) == {"cases": cases, "meshes": meshes, "bad": 0}
    assert Counter(one.role for one in reading.columns)["cells"] == 1
    for row in rows:
        if row.case is None or not meshes:
            continue
        assert row.case.scx_m2 is not None
        assert row.case.scz_m2 is not None
        assert row.case.scz_m2.value < 0
        assert 0.002 < row.case.scx_m2.u < 0.1
        assert any("swing about" in told or "no scheme" in told for told in row.words)


@pytest.mark.skipif(not REAL.is_dir(), reason="the open sweeps of ../shared/data/ahmed_fsae_cfd are not there")
def test_a_real_row_that_failed_is_named() -> None:
    table = read_table("Mark_5.csv", (REAL / "Mark_5.csv").read_bytes())
    (row,) = predicted_rows(table, real_reading(table))
    assert row.problem == "Line 2, “Cell Count”: is 0; it must be above 0."
