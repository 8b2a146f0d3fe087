"""The forest plot: each pass's own drag area beside the joint one of its setup."""

from __future__ import annotations

from plotly import graph_objects as go

from server.analysis.result import DayResult, Estimate, Pass, PassFit, SetupResult
from server.figures.fits import coast_fits
from server.figures.passes_over_speed import DIRECTION_WORDS
from server.figures.rows import Row, rows_figure
from server.figures.table import Cell, Table
from server.figures.theme import SetupMark, setup_marks

NORMAL_95 = 1.959964
MOST_ROWS_A_REASON = 2


def pass_label(letter: str, one: Pass) -> str:
    """How a pass is called on a figure: setup letter, run, direction, start on the run's clock."""
    return f"{letter}, run {one.run}, {DIRECTION_WORDS[one.direction]}, {one.start_s:.0f} s"


def pass_estimate(fit: PassFit) -> Estimate:
    """The pass's own SCx with a normal 95 % interval from its u."""
    half = NORMAL_95 * fit.scx_u
    return Estimate(fit.scx, fit.scx_u, fit.scx - half, fit.scx + half, "m²", "measured")


def forest_rows(result: DayResult) -> list[Row]:
    """Per setup: the joint estimate first, its passes, then those that were turned down."""
    marks = setup_marks([setup.name for setup in result.setups])
    rows: list[Row] = []
    for setup in result.setups:
        mark = marks[setup.name]
        if "SCx" in setup.estimates:
            rows.append(Row(f"{mark.letter}, all passes together", mark, setup.estimates["SCx"], strong=True))
        rows += [Row(pass_label(mark.letter, fit.of), mark, pass_estimate(fit)) for fit in coast_fits(setup)]
        rows += _turned_down_rows(setup, mark)
    return rows


def _turned_down_rows(setup: SetupResult, mark: SetupMark) -> list[Row]:
    """One crossed row a pass; many with the same reason share one."""
    reasons: dict[str, list[Pass]] = {}
    for one in turned_down(setup):
        reasons.setdefault(one.reason, []).append(one)
    rows: list[Row] = []
    for reason, passes in reasons.items():
        if len(passes) > MOST_ROWS_A_REASON:
            rows.append(Row(f"{mark.letter}, {len(passes)} stretches", mark, None, note=reason))
        else:
            rows += [Row(pass_label(mark.letter, one), mark, None, note=reason) for one in passes]
    return rows


def turned_down(setup: SetupResult) -> list[Pass]:
    """The setup's coast-downs that are not used."""
    return [one for one in setup.passes if not one.used and one.kind == "coast-down"]


def forest_table(result: DayResult) -> Table:
    """The estimates of the forest plot, and every pass that was turned down with its reason."""
    marks = setup_marks([setup.name for setup in result.setups])
    rows: list[tuple[Cell, ...]] = [
        (row.label, row.value.value, row.value.u, row.value.low95, row.value.high95, "")
        for row in forest_rows(result)
        if row.value is not None
    ]
    for setup in result.setups:
        letter = marks[setup.name].letter
        rows += [
            (pass_label(letter, one), None, None, None, None, f"turned down: {one.reason}")
            for one in turned_down(setup)
        ]
    return Table(("estimate", "SCx [m²]", "u [m²]", "low 95 % [m²]", "high 95 % [m²]", "remark"), tuple(rows))


def forest(result: DayResult, narrow: bool = False) -> go.Figure:
    """Per-pass estimates beside the joint one; one that lies apart asks for a look at its pass."""
    return rows_figure(forest_rows(result), "SCx [m²]", narrow)
