"""From what CFD gives to areas: coefficients, forces, half cars, lift up or down, moments to axles.

Areas after SAE J1594 with downforce positive (see the nomenclature): what wheel pads at the ground would weigh.
"""

from __future__ import annotations

from dataclasses import dataclass

from server.readers.prediction_cells import CellError, Measured
from server.readers.prediction_reading import U_FACTORS, Conventions
from server.testday.values import Quantity


@dataclass(frozen=True, slots=True)
class Flow:
    """What a row's numbers were computed with; None where neither row nor table says it."""

    reference_area_m2: float | None
    density_kgm3: float | None
    speed_mps: float | None

    def pressure_pa(self) -> float:
        """½ρU². Raises CellError."""
        if not self.density_kgm3 or not self.speed_mps:
            raise CellError("is a force; it needs air speed and density, which are not given")
        return 0.5 * self.density_kgm3 * self.speed_mps**2


@dataclass(frozen=True, slots=True)
class Scaled:
    """A number of a cell as an area [m²] (a moment: [m³]) of the whole car, and how it came about."""

    value: float
    factor: float
    words: str


def digits(value: float) -> str:
    """A number in the words of a step."""
    return f"{value:.6g}".replace("-", "−")


def scaled(
    cell: Measured, flow: Flow, said: Conventions, *, length_m: float | None = None, flip: bool = False
) -> Scaled:
    """A drag, a lift or a moment of the car: S = C A, S = F/(½ρU²), twice that for half a car.

    length_m: reference length of a moment. flip: the sign is turned, for the convention here. Raises CellError.
    """
    factor, words = _scale(cell, flow, length_m)
    if said.car == "half":
        factor, words = 2.0 * factor, f"{words} × 2 (half car)"
    if flip:
        factor, words = -factor, f"{words} × −1 (sign)"
    return Scaled(cell.si * factor, factor, words)


def _scale(cell: Measured, flow: Flow, length_m: float | None) -> tuple[float, str]:
    written = f"{digits(cell.number)}{f' {cell.unit}' if cell.unit else ''}"
    if cell.dimension in ("area", "volume"):
        return 1.0, written
    if cell.dimension in ("force", "torque"):
        q = flow.pressure_pa()
        return 1.0 / q, f"{written} / (½ × {flow.density_kgm3:.5g} kg/m³ × ({flow.speed_mps:.5g} m/s)²)"
    if not flow.reference_area_m2:
        raise CellError("is a coefficient; its reference area is not given")
    area, words = flow.reference_area_m2, f"{written} × {flow.reference_area_m2:.6g} m²"
    return (area * length_m, f"{words} × {length_m:.6g} m") if length_m else (area, words)


def uncertainty(cell: Measured, of: Measured, to: Scaled, said: Conventions) -> float:
    """u [m²] of a value whose uncertainty stands in a cell: in per cent of it, or in the value's own kind of unit.

    Raises CellError.
    """
    if cell.si < 0:
        raise CellError("is an uncertainty below 0")
    if cell.unit == "%":
        return abs(to.value) * cell.si * U_FACTORS[said.u_is]
    if cell.dimension != of.dimension:
        raise CellError("is not in the kind of unit of the value that it belongs to")
    return cell.si * abs(to.factor) * U_FACTORS[said.u_is]


def axles_by_moment(scz_m2: float, moment_m3: float, scx_m2: float, said: Conventions) -> tuple[float, float]:
    """SCz of front and rear axle from the total and the moment about a point, nose up positive.

        SCz_f L = SCz (L − x) − (M + SCx z),  SCz_r = SCz − SCz_f

    x: the point behind the front axle, z: above the ground; drag at a height lifts the nose. Balance of moments about
    the rear contact; with x = L/2, z = 0 it is SAE J1594's C_Lf = C_L/2 + C_PM (from memory), lift positive there.
    """
    wheelbase = said.wheelbase_m or 0.0
    front = (scz_m2 * (wheelbase - (said.moment_x_m or 0.0)) - moment_m3 - scx_m2 * said.moment_z_m) / wheelbase
    return front, scz_m2 - front


def axles_by_share(total: Quantity, share: float) -> tuple[Quantity, Quantity]:
    """SCz of both axles from the total and the front axle's share of it; the total's relative u goes to both."""
    if not -1.0 <= share <= 2.0:
        raise CellError(f"says that {100 * share:.3g} % of the downforce is on the front axle")
    front = Quantity(share * total.value, abs(share) * total.u, "predicted")
    rear = Quantity((1.0 - share) * total.value, abs(1.0 - share) * total.u, "predicted")
    return front, rear
