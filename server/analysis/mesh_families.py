"""Rows that are one case on several meshes: the finest stands for it, the others tell its numerical uncertainty."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from server.inference.grid_convergence import (
    CAUTIOUS_SAFETY,
    EXPANDED_OVER_STANDARD,
    LEAST_RATIO,
    ORDER_LIMITS,
    SAFETY,
    GridConvergence,
    Mesh,
    grid_convergence,
    two_mesh_u,
)
from server.testday.predicted import PredictedRow
from server.testday.values import PredictionCase, Quantity

AREAS = {"scx_m2": "SCx", "scz_front_m2": "SCz front", "scz_rear_m2": "SCz rear", "scz_m2": "SCz"}
SOURCE = (
    f"where an index is believed, u = GCI / {EXPANDED_OVER_STANDARD}: the index is an interval of about 95 %, and a "
    "family that converges errs to one side (ASME V&V 20)"
)


def with_families(rows: Sequence[PredictedRow], dimensions: int = 3) -> tuple[PredictedRow, ...]:
    """The rows, those of one case on several meshes put together under the finest; the order stays.

    A u that the table states stands; only where there is none the meshes tell it.
    """
    families: dict[PredictionCase, list[PredictedRow]] = defaultdict(list)
    for row in rows:
        if row.case is not None and row.cells is not None:
            families[_about(row.case)].append(row)
    made: dict[int, PredictedRow] = {}
    for family in families.values():
        if len(family) > 1:
            made |= _together(sorted(family, key=lambda row: -(row.cells or 0.0)), dimensions)
    return tuple(made.get(row.line, row) for row in rows)


def _about(case: PredictionCase) -> PredictionCase:
    return replace(case, scx_m2=None, scz_front_m2=None, scz_rear_m2=None, scz_m2=None)


def _together(family: Sequence[PredictedRow], dimensions: int) -> dict[int, PredictedRow]:
    """Line → row: the finest with its u, the coarser ones as its meshes."""
    finest = family[0]
    assert finest.case is not None
    areas: dict[str, Quantity] = {}
    words = [*finest.words, f"finest of {len(family)} meshes: {finest.cells:,.0f} cells"]
    for name, symbol in AREAS.items():
        value: Quantity | None = getattr(finest.case, name)
        meshes = [_mesh(row, name) for row in family]
        if value is None or value.u or any(one is None for one in meshes):
            continue
        u, told = _told([one for one in meshes if one is not None], dimensions)
        areas[name] = replace(value, u=u)
        words.append(f"{symbol}: {told}")
    if any("GCI" in told for told in words):
        words.append(SOURCE)
    case = replace(finest.case, **areas)  # type: ignore[arg-type]  # names of areas
    coarser = {
        row.line: replace(row, case=None, words=(*row.words, f"a coarser mesh of the case in line {finest.line}"))
        for row in family[1:]
    }
    return {finest.line: replace(finest, case=case, words=tuple(words)), **coarser}


def _mesh(row: PredictedRow, name: str) -> Mesh | None:
    value: Quantity | None = getattr(row.case, name)
    return None if value is None or row.cells is None else Mesh(row.cells, value.value)


def _told(meshes: Sequence[Mesh], dimensions: int) -> tuple[float, str]:
    """u, and in words where it comes from."""
    if len(meshes) < 3:
        u = two_mesh_u(meshes[0], meshes[1], dimensions=dimensions)
        return u, (
            f"two meshes tell no order of convergence; with the order {ORDER_LIMITS[1]:g} supposed and a factor of "
            f"{CAUTIOUS_SAFETY:g}, u = {u:.2g} m²"
        )
    told = grid_convergence(meshes, dimensions=dimensions)
    return told.u, convergence_words(told)


def convergence_words(told: GridConvergence, unit: str = "m²") -> str:
    """What three meshes say, in words: behaviour, order, index, u and the rule that it follows."""
    cells = ", ".join(f"{one.cells:,.0f}" for one in told.meshes)
    near = f"; meshes less than {LEAST_RATIO} apart (r {told.r21:.2f}, {told.r32:.2f})" if told.close else ""
    head = f"{cells} cells{near}"
    return f"{head}: {_BEHAVIOUR[told.behaviour](told, unit)}"


def _monotone(told: GridConvergence, unit: str) -> str:
    low, high = ORDER_LIMITS
    text = f"order {told.order:.2f}, extrapolated {told.extrapolated:.4g} {unit}, {_index(told)}"
    if told.believed and not told.close:
        return f"{text}; u = {told.u:.2g} {unit}"
    if told.believed:
        return f"{text}; u = {told.u:.2g} {unit}, not less than half of what the meshes differ by"
    safety = f"the order held within {low:g} to {high:g} and a factor of {CAUTIOUS_SAFETY:g} in place of {SAFETY:g}"
    return f"{text}; no scheme has that order: u = {told.u:.2g} {unit} with {safety}"


def _index(told: GridConvergence) -> str:
    return "no index" if told.gci is None else f"GCI {100 * told.gci:.2g} %"


def _oscillating(told: GridConvergence, unit: str) -> str:
    return (
        f"the values swing about ({_index(told)}), so that no order can be believed; the larger of their range "
        f"and what the index gives is taken, u = {told.u:.2g} {unit}"
    )


def _diverging(told: GridConvergence, unit: str) -> str:
    return (
        f"the finer the mesh, the larger the steps: it does not converge; u = {told.u:.2g} {unit}, the whole range, "
        "may be too little"
    )


def _flat(told: GridConvergence, unit: str) -> str:
    return f"two of the values are the same, so that there is no order; u = {told.u:.2g} {unit}, the range of all"


_BEHAVIOUR = {"monotone": _monotone, "oscillating": _oscillating, "diverging": _diverging, "flat": _flat}


def family_count(rows: Sequence[PredictedRow]) -> Mapping[str, int]:
    """How many rows are cases, how many are coarser meshes of one, how many are bad."""
    taken = sum(row.taken for row in rows)
    bad = sum(bool(row.problem) for row in rows)
    return {"cases": taken, "meshes": len(rows) - taken - bad, "bad": bad}
