"""Changes of the car and its sensors: the day before in, the day after out.

Every function raises StillairError with one sentence where the change makes no sense.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from server.days.change import Change, in_words, plain
from server.errors import StillairError
from server.testday.defaults import missing_c1
from server.testday.values import Axle, Calibration, Car, Day, Finding


def change_car(day: Day, name: str, value: Any, axle: str | None = None) -> Change:
    """A property of the car, or of one axle, corrected; value: a Quantity, a number, a table or None."""
    owner: Car | Axle = day.car if axle is None else _axle(day.car, axle)
    if not hasattr(owner, name) or name in {"front", "rear", "calibration"} or name.startswith("_"):
        raise StillairError(f"A car has no property called {name[:40]}.")
    before = getattr(owner, name)
    changed = replace(owner, **{name: value})
    car = _following(day.car, changed) if isinstance(changed, Car) else replace(day.car, **{str(axle): changed})
    subject = f"car: {name}" if axle is None else f"car, {axle} axle: {name}"
    what = f"{subject} from {in_words(before)} to {in_words(value)}"
    findings = tuple(one for one in day.findings if name != "driven" or not _took_driven(one))
    return Change(replace(day, car=car, findings=findings), "car-changed", subject, plain(before), plain(value), what)


def change_calibration(day: Day, role: str, calibration: Calibration | None) -> Change:
    """A sensor's calibration given, changed or (None) taken away."""
    before = day.car.calibration.get(role)
    rest = {key: one for key, one in day.car.calibration.items() if key != role}
    after = rest if calibration is None else {**rest, role: calibration}
    what = f"calibration of {role} " + ("taken away" if calibration is None else "changed" if before else "given")
    changed = replace(day, car=replace(day.car, calibration=after))
    return Change(changed, "calibration-changed", f"calibration of {role}", plain(before), plain(calibration), what)


def _took_driven(finding: Finding) -> bool:
    """Whether it says that the driven axle was taken for granted; once somebody says it, it is written."""
    return finding.code == "default-used" and "[car] driven " in finding.text


def _following(old: Car, car: Car) -> Car:
    """A default c1 is a share of c0 and follows it."""
    if old.rolling_c1_s_per_m == missing_c1(old.rolling_c0) == car.rolling_c1_s_per_m:
        return replace(car, rolling_c1_s_per_m=missing_c1(car.rolling_c0))
    return car


def _axle(car: Car, axle: str) -> Axle:
    if axle not in {"front", "rear"}:
        raise StillairError(f"An axle is front or rear, not {axle[:20]}.")
    return car.front if axle == "front" else car.rear
