"""Numerical uncertainty of a computed value from the same case on three or more meshes: the grid convergence index.

Celik, Ghia, Roache, Freitas, Coleman, Raad 2008: Procedure for estimation and reporting of uncertainty due to
discretization in CFD applications, J. Fluids Eng. 130, 078001; steps 1 to 5, equations (1) to (7).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from scipy.optimize import brentq

SAFETY = 1.25
"""Factor of safety on three meshes: Celik et al. 2008, equation (7)."""
CAUTIOUS_SAFETY = 3.0
"""Where the observed order cannot be believed; the order is then held in `ORDER_LIMITS` (Oberkampf & Roy 2010,
Verification and Validation in Scientific Computing, section 8.7.4.2: from memory)."""
ORDER_LIMITS = (0.5, 2.0)
"""Observed orders that a scheme of second order can show: below, the meshes are too coarse to tell; above, luck."""
ORDER_SLACK = 0.2
"""A tenth of the formal order: an order so far above it is still believed (Oberkampf & Roy, as above)."""
EXPANDED_OVER_STANDARD = 1.15
"""GCI is an interval of about 95 %. ASME V&V 20-2009 takes u_num = GCI/2 when the error is normal about the value of
the finest mesh, and GCI/1.15 when it lies to the side of the extrapolated value (from memory). A family that
converges monotonely errs to one side, and 1.15 gives the larger u: it is used throughout."""
LEAST_RATIO = 1.3
"""Celik et al. 2008, step 2: the ratio of sizes of two meshes should be greater than this."""
_TURNS = 200
_HIGHEST_ORDER = 60.0

Behaviour = Literal["monotone", "oscillating", "diverging", "flat"]


@dataclass(frozen=True, slots=True)
class Mesh:
    """One mesh of a case: its number of cells and the value computed on it."""

    cells: float
    value: float


@dataclass(frozen=True, slots=True)
class GridConvergence:
    """What three meshes tell; 1 is the finest. Absolute values are in the unit of the value computed.

    order: apparent order p, None where the meshes show none. e_a, e_ext, gci: relative to the value (None where that
    is 0), as the paper reports them. u: standard numerical uncertainty of value 1; span: largest less smallest value
    over all meshes. close: a ratio of sizes is below 1.3. believed: the order lies where a scheme can have it.
    """

    meshes: tuple[Mesh, Mesh, Mesh]
    r21: float
    r32: float
    behaviour: Behaviour
    order: float | None
    extrapolated: float | None
    e_a: float | None
    e_ext: float | None
    gci: float | None
    u: float
    span: float
    close: bool
    believed: bool


def grid_convergence(meshes: Sequence[Mesh], *, dimensions: int = 3) -> GridConvergence:
    """Work out the index for the finest of the meshes.

        h = (V/N)^(1/D),  r21 = h2/h1,  p = |ln|ε32/ε21| + q(p)| / ln r21,  q(p) = ln((r21^p − s)/(r32^p − s))
        φ_ext = (r21^p φ1 − φ2)/(r21^p − 1),  GCI = 1.25 e_a/(r21^p − 1)

    meshes: three or more; of more than three, the finest, the next that is 1.3 coarser, and the next after that.
    dimensions: D, 3 or 2. Raises ValueError naming the argument.
    """
    if dimensions not in (2, 3):
        raise ValueError(f"dimensions is {dimensions}; a mesh has 2 or 3")
    if any(not (math.isfinite(one.value) and math.isfinite(one.cells) and one.cells >= 1) for one in meshes):
        raise ValueError("meshes hold a value or a number of cells that is no number, or less than one cell")
    three = chosen_three(meshes, dimensions)
    r21, r32 = (_ratio(fine, coarse, dimensions) for fine, coarse in pairwise(three))
    values = [one.value for one in meshes]
    return _told(three, r21, r32, max(values) - min(values))


def two_mesh_u(fine: Mesh, coarse: Mesh, *, dimensions: int = 3) -> float:
    """u of the finer of two meshes: 3 |ε21| / (r21² − 1) over 1.15, the order 2 supposed.

    Roache 1994: Perspective: a method for uniform reporting of grid refinement studies, J. Fluids Eng. 116, 405
    (factor 3 for two meshes; from memory). Never less than what the two differ by. Raises ValueError.
    """
    if not fine.cells > coarse.cells >= 1:
        raise ValueError("coarse has as many cells as fine, or less than one")
    step = abs(coarse.value - fine.value)
    ratio = _ratio(fine, coarse, dimensions)
    return max(step, CAUTIOUS_SAFETY * step / (math.pow(ratio, ORDER_LIMITS[1]) - 1.0) / EXPANDED_OVER_STANDARD)


def chosen_three(meshes: Sequence[Mesh], dimensions: int = 3) -> tuple[Mesh, Mesh, Mesh]:
    """The finest mesh and two coarser ones, each 1.3 apart where the family reaches that far."""
    finest = sorted({one.cells: one for one in meshes}.values(), key=lambda one: -one.cells)
    if len(finest) < 3:
        raise ValueError("meshes: three with different numbers of cells are needed")
    middle = _next_apart(finest[0], finest[1:-1], dimensions)
    coarse = _next_apart(middle, [one for one in finest if one.cells < middle.cells], dimensions)
    return finest[0], middle, coarse


def _next_apart(fine: Mesh, coarser: Sequence[Mesh], dimensions: int) -> Mesh:
    apart = (one for one in coarser if _ratio(fine, one, dimensions) >= LEAST_RATIO)
    return next(apart, coarser[-1])


def _ratio(fine: Mesh, coarse: Mesh, dimensions: int) -> float:
    return math.pow(fine.cells / coarse.cells, 1.0 / dimensions)


def _told(three: tuple[Mesh, Mesh, Mesh], r21: float, r32: float, span: float) -> GridConvergence:
    e21, e32 = (float(coarse.value - fine.value) for fine, coarse in pairwise(three))
    behaviour = _behaviour(e21, e32, r21, r32)
    order = None if behaviour in ("flat", "diverging") else apparent_order(e21, e32, r21, r32)
    close = min(r21, r32) < LEAST_RATIO
    low, high = ORDER_LIMITS
    believed = order is not None and low <= order <= high + ORDER_SLACK
    value = three[0].value
    extrapolated = gci = e_ext = None
    if order is not None and r21**order - 1.0 > 1e-9:
        extrapolated = (r21**order * value - three[1].value) / (r21**order - 1.0)
        gci = abs(SAFETY * e21 / (r21**order - 1.0))
        e_ext = abs((extrapolated - value) / extrapolated) if extrapolated else None
    return GridConvergence(
        meshes=three,
        r21=r21,
        r32=r32,
        behaviour=behaviour,
        order=order,
        extrapolated=extrapolated,
        e_a=abs(e21 / value) if value else None,
        e_ext=e_ext,
        gci=gci / abs(value) if value and gci is not None else None,
        u=_standard(behaviour, e21, r21, order=order, gci=gci, span=span, sure=believed and not close),
        span=span,
        close=close,
        believed=believed,
    )


def _behaviour(e21: float, e32: float, r21: float, r32: float) -> Behaviour:
    """Does φ = φ0 + a h^p with some p > 0 pass through the three? Its ε32/ε21 exceeds ln r32/ln r21."""
    if e21 == 0.0 or e32 == 0.0:
        return "flat"
    if e32 / e21 < 0:
        return "oscillating"
    return "monotone" if e32 / e21 > math.log(r32) / math.log(r21) else "diverging"


def apparent_order(e21: float, e32: float, r21: float, r32: float) -> float | None:
    """p by fixed-point iteration from q = 0, as the paper has it; by bracketing where that does not settle.

    Celik et al. 2008, equations (3a) to (3c). None where there is no such order.
    """
    sign = math.copysign(1.0, e32 / e21)
    plain = abs(math.log(abs(e32 / e21)))

    def again(p: float) -> float:
        over, under = r21**p - sign, r32**p - sign
        return abs(math.log(abs(e32 / e21)) + math.log(over / under)) / math.log(r21)

    p = plain / math.log(r21)
    try:
        for _ in range(_TURNS):
            if not 0.0 < p < _HIGHEST_ORDER:
                break
            following = again(p)
            if abs(following - p) < 1e-10:
                return following
            p = following
        return float(brentq(lambda q: again(q) - q, 1e-4, _HIGHEST_ORDER))
    except ValueError:
        return None


def _standard(
    behaviour: Behaviour, e21: float, r21: float, *, order: float | None, gci: float | None, span: float, sure: bool
) -> float:
    """u: GCI over 1.15 where it can be believed; else never less than what the meshes themselves differ by.

    Oscillating or diverging: the range of all meshes, which for a diverging family may be too little.
    """
    if behaviour in ("diverging", "flat"):
        return span
    if behaviour == "oscillating" or order is None or gci is None:
        return max(span, (gci or 0.0) / EXPANDED_OVER_STANDARD)
    if sure:
        return gci / EXPANDED_OVER_STANDARD
    held = min(max(order, ORDER_LIMITS[0]), ORDER_LIMITS[1])
    safety = SAFETY if held == order else CAUTIOUS_SAFETY
    return max(0.5 * span, abs(safety * e21 / (math.pow(r21, held) - 1.0)) / EXPANDED_OVER_STANDARD)
