"""What a change is worth at simple events, measured and predicted beside each other, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.correlated import Correlated
from server.analysis.worth import AreaPair, Assumed, Worth, measured_pair, worth
from server.correlation.service import DayVerdicts
from server.errors import StillairError
from server.testday.rounding import with_uncertainty
from server.testday.values import Quantity

AREAS = ("SCx", "SCz_front", "SCz_rear")
DRIVER_KG = Quantity(75.0, 10.0, "default")
NO_LOADS = "This day did not measure the downforce of both setups; what the change is worth takes drag and downforce."


@dataclass(frozen=True, slots=True)
class Typed:
    """An assumption that a person can set: its name in the address, words, unit, bounds, factor to SI and its u."""

    name: str
    words: str
    unit: str
    low: float
    high: float
    factor: float
    rel_u: float


TYPED = (
    Typed("friction", "Friction of the tyres", "", 0.3, 3.0, 1.0, 0.10),
    Typed("power", "Power at the tyres", "kW", 5.0, 600.0, 1e3, 0.10),
    Typed("speed", "Mean speed over the distance (root mean square)", "km/h", 10.0, 200.0, 1 / 3.6, 0.10),
    Typed("distance", "Distance", "km", 1.0, 1000.0, 1.0, 0.0),
    Typed("pitch", "Cones of the slalom apart", "m", 4.0, 40.0, 1.0, 0.0),
)


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event: what the measured and the predicted change are worth there, and what the baseline takes."""

    event: str
    measured: str
    predicted: str
    baseline: str


def assumed_of(day: DayVerdicts, typed: Mapping[str, str]) -> Assumed:
    """The assumptions: the car's mass with its driver, and what was typed. Raises StillairError for no number."""
    driver = next((run.driver_mass_kg for run in day.values.runs), DRIVER_KG)
    car = day.values.car.mass_kg
    made = Assumed(Quantity(car.value + driver.value, float(np.hypot(car.u, driver.u))))
    given = {one.name: _number(one, typed[one.name]) for one in TYPED if typed.get(one.name, "").strip()}
    names = {"friction": "friction", "power": "power_w", "speed": "speed_mps"}
    for one in TYPED:
        if one.name in given and one.name in names:
            value = one.factor * given[one.name]
            made = replace(made, **{names[one.name]: Quantity(value, one.rel_u * value, "typed")})
    if "distance" in given:
        made = replace(made, distance_m=1e3 * given["distance"])
    return replace(made, pitch_m=given["pitch"]) if "pitch" in given else made


def shown(assumed: Assumed) -> dict[str, str]:
    """The assumptions as the form shows them."""
    values = {
        "friction": assumed.friction.value,
        "power": assumed.power_w.value,
        "speed": assumed.speed_mps.value,
        "distance": assumed.distance_m / 1e3,
        "pitch": assumed.pitch_m,
    }
    return {one.name: f"{values[one.name] / one.factor:.4g}" for one in TYPED}


def _number(of: Typed, text: str) -> float:
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        number = np.nan
    if not of.low <= number <= of.high:
        unit = f" {of.unit}" if of.unit else ""
        raise StillairError(f"{of.words} must be a number from {of.low:g} to {of.high:g}{unit}, not “{text[:20]}”.")
    return number


def event_rows(day: DayVerdicts, change: tuple[str, str], assumed: Assumed) -> tuple[EventRow, ...]:
    """Every event. change: setup and baseline. Raises StillairError where downforce was not measured of both."""
    measured = measured_pair(day.joints, *change) if _loads(day, change) else None
    if measured is None:
        raise StillairError(NO_LOADS)
    told = worth(measured, assumed, day.values.car)
    predicted = _predicted(day, change)
    beside = {one.event: one for one in worth(predicted, assumed, day.values.car)} if predicted else {}
    return tuple(_row(one, beside.get(one.event)) for one in told)


def _loads(day: DayVerdicts, change: tuple[str, str]) -> bool:
    told = {(one.setup, one.quantity) for one in day.found.totals}
    return all((setup, area) in told for setup in change for area in AREAS)


def _predicted(day: DayVerdicts, change: tuple[str, str]) -> AreaPair | None:
    """The predicted areas of both; their errors taken as independent."""
    found: dict[tuple[str, str], Correlated] = {(one.setup, one.quantity): one for one in day.found.totals}
    chosen = [found[setup, area] for setup in change for area in AREAS]
    values = [one.predicted for one in chosen]
    if any(value is None for value in values):
        return None
    covariance = np.diag([one.predicted_u**2 for one in chosen])
    return AreaPair(np.array([value or 0.0 for value in values]), covariance)


def _row(measured: Worth, predicted: Worth | None) -> EventRow:
    base = f"about {measured.baseline:.3g} {measured.unit}" if measured.unit == "s" else _kilojoules(measured.baseline)
    return EventRow(measured.event, _change(measured), _change(predicted) if predicted else "not predicted", base)


def _kilojoules(value: float) -> str:
    return f"about {round(value, -2):.0f} kJ"


def _change(one: Worth) -> str:
    text = with_uncertainty(one.value, 0.5 * (one.high95 - one.low95), one.unit)
    return text.replace("-", "−", 1) if text.startswith("-") else f"+{text}"


def worth_sentence(change: tuple[str, str], rows: tuple[EventRow, ...]) -> str:
    """The circle and the energy of a change, in one sentence."""
    circle, energy = rows[0], rows[-1]
    return (
        f"{change[0]} against {change[1]}, as measured: {circle.measured} round the circle, {energy.measured} of"
        " energy; by simple arithmetic with one constant friction, to weigh a change by, not to forecast a time."
    )
