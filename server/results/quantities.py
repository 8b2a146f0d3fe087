"""How quantities are named and scaled on screen: SI inside, what people at a track say outside."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from server.analysis.result import Delta, Estimate
from server.figures.quantity import QUANTITIES
from server.testday.rounding import DIMENSIONLESS, rounded, with_uncertainty

SOURCE_WORDS = {
    "measured": "measured on this day",
    "typed": "typed in",
    "predicted": "from a prediction",
    "default": "a default, because nothing was given",
}


@dataclass(frozen=True, slots=True)
class Shown:
    """How an estimate is shown: its words, a hint, and the factor from its own unit to the one on screen."""

    label: str
    hint: str = ""
    unit: str = ""
    factor: float = 1.0


ESTIMATES = {
    "SCx": Shown("Drag area SCx", "at the reference condition, in still air", "m²"),
    "SCx_apparent": Shown("Drag area as coasting sees it", "rolling loss under the downforce still in it", "m²"),
    "SCz": Shown("Downforce area SCz", "", "m²"),
    "SCz_front": Shown("SCz, front axle", "", "m²"),
    "SCz_rear": Shown("SCz, rear axle", "", "m²"),
    "balance_front": Shown("Balance", "front share of the downforce", "%", 100.0),
    "LD": Shown("Downforce over drag, L/D", "", ""),
    "weight_speed": Shown("Speed at which downforce equals weight", "", "km/h", 3.6),
    "ride_height_front": Shown("Ride height, front axle", "at the reference condition", "mm", 1e3),
    "ride_height_rear": Shown("Ride height, rear axle", "at the reference condition", "mm", 1e3),
    "c0": Shown("Rolling resistance c0", "share of the load", "%", 100.0),
    "c1": Shown("Rise of rolling resistance with speed, c1", "share of the load per m/s", "s/m"),
    "grade": Shown("Grade", "uphill travelling out", "%", 100.0),
    "head_wind_out": Shown("Head wind", "mean, travelling out", "m/s"),
}
NOISE = {
    "gust_sd": Shown("Strength of the gusts", "standard deviation along the track", "m/s"),
    "gust_time": Shown("Time of the gusts", "how long one lasts at 20 m/s air speed", "s"),
    "gust_frozen": Shown("How frozen the gusts are", "0: fixed in time, 1: fixed in length", ""),
    "slow_wind": Shown("Slow change of the wind", "standard deviation from pass to pass", "m/s"),
    "scatter": Shown("Scatter of the rolling resistance", "from pass to pass, share of it", "%", 100.0),
    "wave": Shown("Undulation of the straight", "standard deviation of the grade", "%", 100.0),
}
INPUT_UNITS = {
    "Pa": ("hPa", 0.01, 0.0),
    "K": ("°C", 1.0, -273.15),
    "–": ("%", 100.0, 0.0),
    "1/h": ("%/h", 100.0, 0.0),
    "N/m": ("N/mm", 1e-3, 0.0),
}


@dataclass(frozen=True, slots=True)
class ValueView:
    """A value as it stands on the page, and what hover, focus or a tap adds."""

    text: str
    detail: str
    source: str


def value_view(name: str, estimate: Estimate) -> ValueView:
    """An estimate in screen units: value ± U95 unit, with u, the interval and the source as detail."""
    shown = ESTIMATES.get(name) or NOISE.get(name) or Shown(name, unit=estimate.unit)
    scale, unit = shown.factor, shown.unit
    text = true_minus(with_uncertainty(scale * estimate.value, scale * estimate.u95, unit))
    u = rounded(scale * estimate.u, scale * estimate.u)[0] if estimate.u > 0 else "0"
    low = true_minus(rounded(scale * estimate.low95, scale * estimate.u95)[0])
    high = true_minus(rounded(scale * estimate.high95, scale * estimate.u95)[0])
    detail = f"u {u}{' ' + unit if unit else ''}; 95 %: {low} to {high}; {SOURCE_WORDS[estimate.source]}"
    return ValueView(text, detail, estimate.source)


def input_text(value: float, u95: float, unit: str) -> str:
    """An input of a budget in screen units: hPa, °C and per cent; without ± where it is exact."""
    written, factor, offset = INPUT_UNITS.get(unit, (unit, 1.0, 0.0))
    return true_minus(with_uncertainty(factor * value + offset, factor * u95, written))


def true_minus(text: str) -> str:
    """A number's hyphen as the minus sign that is as wide as a digit."""
    return text.replace("-", "−", 1) if text.startswith("-") else text


def delta_text(name: str, delta: Delta) -> str:
    """A difference in screen units: value ± U95 unit; one of balance is in points of a per cent."""
    factor, unit = delta_scale(name, delta)
    return with_uncertainty(factor * delta.value, factor * delta.u95, unit)


def smallest_text(name: str, delta: Delta) -> str:
    """The smallest difference that the day would have seen, in screen units."""
    factor, unit = delta_scale(name, delta)
    return two_digits(factor * delta.smallest_seen, unit)


def delta_scale(name: str, delta: Delta) -> tuple[float, str]:
    """Factor and unit of a difference on screen."""
    if name in QUANTITIES:
        return QUANTITIES[name].factor, QUANTITIES[name].unit
    shown = ESTIMATES.get(name, Shown(name, unit=delta.unit))
    return shown.factor, shown.unit


def two_digits(number: float, unit: str) -> str:
    """A positive number to two significant digits with its unit."""
    text = rounded(number, number)[0] if number > 0 else "0"
    return text if unit in DIMENSIONLESS else f"{text} {unit}"


def signed(text: str) -> str:
    """A difference with its sign always written, by a true minus."""
    return text.replace("-", "−", 1) if text.startswith("-") else f"+{text}"


def p_words(p: float) -> str:
    """A p-value as it is printed: three decimals, or less than 0.001."""
    if math.isnan(p):
        return "no p can be had"
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}"


REFERENCE: Mapping[str, tuple[str, Callable[[float], str]]] = {
    "speed_mps": ("Speed", lambda v: f"{3.6 * v:.1f} km/h ({v:.1f} m/s)"),
    "density_kgm3": ("Air density", lambda v: f"{v:.4f} kg/m³"),
    "pressure_pa": ("Pressure", lambda v: f"{v / 100.0:.1f} hPa"),
    "temperature_k": ("Temperature", lambda v: f"{v - 273.15:.1f} °C"),
    "humidity": ("Humidity", lambda v: f"{100.0 * v:.0f} %"),
    "wind": ("Wind", lambda v: f"{v:.1f} m/s"),
    "mass_kg": ("Mass as run", lambda v: f"{v:.1f} kg"),
}


def reference_lines(reference: Mapping[str, float | str | None]) -> tuple[tuple[str, str], ...]:
    """The reference condition as (words, value) lines."""
    return tuple(_reference_line(name, value) for name, value in reference.items() if value is not None)


def _reference_line(name: str, value: float | str) -> tuple[str, str]:
    label, write = REFERENCE.get(name, (name.replace("_", " "), lambda v: f"{v:.4g}"))
    if isinstance(value, str):
        return label[:1].upper() + label[1:], value
    if name not in REFERENCE and name.endswith("_m"):
        return name.removesuffix("_m").replace("_", " ").capitalize(), f"{1000.0 * value:.1f} mm"
    return label[:1].upper() + label[1:], write(value)
