"""What was predicted for a setup, at the ride heights at which it was measured."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.analysis.correlated import Heights
from server.inference.scattered import Told, hull_distance, tell_at
from server.testday.values import FloatArray, PredictionCase, Quantity

HEIGHT_SCALE_M = 0.0015  # so near, two ride heights count as one
YAW_SCALE_RAD = math.radians(0.5)
SCALE = np.array([HEIGHT_SCALE_M, HEIGHT_SCALE_M, YAW_SCALE_RAD])
NUMERICAL_REL_U = 0.02  # of a predicted area whose numerical u nobody stated (common practice, no source)
# Share of an area that a ride height changes which no case varies, per metre, one u (common practice, no source).
UNVARIED_PER_M = {"SCx": 1.5, "SCz_front": 6.0, "SCz_rear": 6.0, "SCz": 6.0}
BORROWED_REL_U = 0.5  # of a step that another setup's cases tell
SPEED_APART = 0.25
AREAS = ("SCx", "SCz_front", "SCz_rear", "SCz")


@dataclass(frozen=True, slots=True, eq=False)
class Area:
    """A predicted area at the car's ride heights; gradient: (2,) by front and rear ride height [m²/m].

    loose_u: for heights that no case varies. extrapolated: why it cannot be told, else empty.
    """

    value: float
    u_num: float
    u_fit: float
    loose_u: float
    gradient: FloatArray
    how: str
    extrapolated: str = ""
    stated: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class PredictedSetup:
    """The areas of a setup by name, told at `heights`; notes: what was assumed of its cases."""

    name: str
    areas: Mapping[str, Area]
    heights: Heights
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Predicted:
    """A quantity of a setup: value and the parts of its u; none where it is extrapolated."""

    value: float | None
    u_num: float
    u_fit: float
    u_input: float
    how: str
    notes: tuple[str, ...]
    extrapolated: str = ""


def area_of(case: PredictionCase, name: str) -> Quantity | None:
    """The case's area by its name; SCz is there alone only where no axle split was predicted."""
    if name == "SCz":
        return None if case.has_split else case.scz_m2
    return {"SCx": case.scx_m2, "SCz_front": case.scz_front_m2, "SCz_rear": case.scz_rear_m2}[name]


def predicted_setups(
    cases: Sequence[PredictionCase], heights: Mapping[str, Heights], speed_mps: float
) -> dict[str, PredictedSetup]:
    """Each setup's predicted areas. cases: of whole cars and of parts; those of parts are not used."""
    whole = [case for case in cases if not case.part]
    by_setup = {name: [case for case in whole if case.setup == name] for name in heights}
    found = {}
    for name, at in heights.items():
        if by_setup[name]:
            areas = {area: told for area in AREAS if (told := _area(by_setup, name, area, at)) is not None}
            found[name] = PredictedSetup(name, areas, at, _notes(by_setup[name], areas, at, speed_mps))
    return found


def predicted_quantity(predicted: PredictedSetup, quantity: str) -> Predicted | None:
    """A quantity of areas: SCx, SCz and its axles, balance = front/SCz, LD = SCz/SCx; None where one is missing.

    u of SCz's mesh adds up over the axles as it is: errors of one mesh go together. In a ratio they are independent.
    """
    slopes = _slopes(predicted.areas, quantity)
    if slopes is None:
        return None
    used = {name: predicted.areas[name] for name in slopes}
    why = next((area.extrapolated for area in used.values() if area.extrapolated), "")
    how = next(iter(used.values())).how
    if why:
        return Predicted(None, 0.0, 0.0, 0.0, how, predicted.notes, why)
    num = [slopes[name] * area.u_num for name, area in used.items()]
    u_num = sum(map(abs, num)) if quantity == "SCz" else math.hypot(*num)
    u_fit = math.hypot(*(slopes[name] * area.u_fit for name, area in used.items()))
    gradient = sum((slopes[name] * area.gradient for name, area in used.items()), np.zeros(2))
    heights_u = np.array([one.u if one else 0.0 for one in (predicted.heights.front, predicted.heights.rear)])
    loose = [slopes[name] * area.loose_u for name, area in used.items()]
    u_input = math.hypot(float(np.linalg.norm(gradient * heights_u)), *loose)
    value = _value({name: area.value for name, area in predicted.areas.items()}, quantity)
    return Predicted(value, u_num, u_fit, u_input, how, predicted.notes)


def _downforce(areas: Mapping[str, float]) -> float | None:
    if "SCz_front" in areas and "SCz_rear" in areas:
        return areas["SCz_front"] + areas["SCz_rear"]
    return areas.get("SCz")


def _value(areas: Mapping[str, float], quantity: str) -> float:
    downforce = _downforce(areas)
    if quantity == "SCz":
        assert downforce is not None
        return downforce
    if quantity == "balance_front":
        return areas["SCz_front"] / (areas["SCz_front"] + areas["SCz_rear"])
    if quantity == "LD":
        assert downforce is not None
        return downforce / areas["SCx"]
    return areas[quantity]


def _slopes(areas: Mapping[str, Area], quantity: str) -> dict[str, float] | None:
    """d(quantity)/d(area) of every area that it is made of."""
    values = {name: area.value for name, area in areas.items()}
    downforce = _downforce(values)
    split = "SCz_front" in values and "SCz_rear" in values
    parts = ("SCz_front", "SCz_rear") if split else ("SCz",)
    if quantity in ("SCx", "SCz_front", "SCz_rear"):
        return {quantity: 1.0} if quantity in values else None
    if quantity == "SCz":
        return dict.fromkeys(parts, 1.0) if downforce is not None else None
    if quantity == "balance_front":
        if not split or not downforce:
            return None
        return {"SCz_front": values["SCz_rear"] / downforce**2, "SCz_rear": -values["SCz_front"] / downforce**2}
    if quantity == "LD" and downforce is not None and values.get("SCx"):
        scx = values["SCx"]
        return dict.fromkeys(parts, 1.0 / scx) | {"SCx": -downforce / scx**2}
    return None


def _place(case: PredictionCase, nothing: FloatArray) -> FloatArray:
    return place_of_heights(case.front_ride_height_m, case.rear_ride_height_m, case.yaw_rad, nothing)


def place_of_heights(front_m: float | None, rear_m: float | None, yaw_rad: float, nothing: FloatArray) -> FloatArray:
    """Where a case lies, scaled; a height that it does not give counts as the car's own, that of `nothing`."""
    placed = [here if one is None else one for one, here in zip((front_m, rear_m, yaw_rad), nothing, strict=True)]
    return np.asarray(np.array(placed) / SCALE, float)


def _area(by_setup: Mapping[str, Sequence[PredictionCase]], name: str, area: str, at: Heights) -> Area | None:
    mine = _cases_of(by_setup[name], area)
    if not mine:
        return None
    heighted = any(_has_height(case) for case, _ in mine)
    values = np.array([known.value for _, known in mine])
    stated = all(known.u > 0.0 for _, known in mine)
    num = np.array([known.u or NUMERICAL_REL_U * abs(known.value) for _, known in mine])
    if at.front is None or at.rear is None:
        return _over_all(heighted, values, num, stated)
    here = np.array([at.front.value, at.rear.value, 0.0])
    places = np.array([_place(case, here) for case, _ in mine])
    told = tell_at(places, values, here / SCALE)
    u_num = float(np.abs(told.weights) @ num / np.sum(np.abs(told.weights)))
    outside = _hull(places.tobytes(), (here / SCALE).tobytes())
    lent = _lent(by_setup, name, area, places, here) if heighted and told.varied == 0 else None
    how = _how(told.model, told.used)
    if lent is not None:
        factor, rel_u, slope = lent
        step = told.value * (factor - 1.0)
        u_fit = math.hypot(told.u, BORROWED_REL_U * step, rel_u * told.value)
        how = f"{how}, carried to the car's ride heights as another setup's cases change"
        return Area(told.value + step, u_num, u_fit, 0.0, told.value * slope, how, "", stated)
    spans, u_h = np.ptp(places, axis=0), math.hypot(at.front.u, at.rear.u)
    loose = _loose(area, told, spans, u_h) if heighted else 0.0
    why = _outside(mine, here, outside) if heighted and outside > 1.0 else ""
    return Area(told.value, u_num, told.u, loose, told.gradient[:2] / HEIGHT_SCALE_M, how, why, stated)


@lru_cache(maxsize=256)
def _hull(places: bytes, here: bytes) -> float:
    """Distance from the hull, once for the areas of the same cases."""
    return hull_distance(np.frombuffer(places).reshape(-1, 3), np.frombuffer(here))


def _cases_of(cases: Sequence[PredictionCase], area: str) -> list[tuple[PredictionCase, Quantity]]:
    """Cases with this area; those that give ride heights, where some do."""
    mine = [(case, known) for case in cases if (known := area_of(case, area)) is not None]
    return [pair for pair in mine if _has_height(pair[0])] or mine


def _has_height(case: PredictionCase) -> bool:
    return case.front_ride_height_m is not None or case.rear_ride_height_m is not None


def _over_all(heighted: bool, values: FloatArray, num: FloatArray, stated: bool) -> Area:
    """The car's heights are not known: the mean of the cases, as doubtful as they differ."""
    spread = float(np.std(values, ddof=1)) if values.size > 1 else 0.0
    loose = spread if values.size > 1 else (0.05 * abs(float(values[0])) if heighted else 0.0)
    how = f"the mean of {values.size} cases" if values.size > 1 else "its one case"
    return Area(float(np.mean(values)), float(np.mean(num)), 0.0, loose, np.zeros(2), how, "", stated)


def _loose(area: str, told: Told, spans: FloatArray, u_h: float) -> float:
    """u for a height that the cases do not vary: the step to the car's, and the car's own doubt."""
    if np.all(spans[:2] > 1.0) and told.varied >= 2:
        return 0.0
    reach = math.hypot(told.unvaried * HEIGHT_SCALE_M, u_h)
    return abs(told.value) * UNVARIED_PER_M[area] * reach


def _lent(
    by_setup: Mapping[str, Sequence[PredictionCase]], name: str, area: str, places: FloatArray, here: FloatArray
) -> tuple[float, float, FloatArray] | None:
    """How an area that has one place only changes from there to the car's, as another setup's cases tell it.

    Returned: factor, its relative u, relative gradient by the heights [1/m]; None where nobody's cases reach both.
    """
    start, end = np.mean(places, axis=0), here / SCALE
    lenders = sorted((other for other in by_setup if other != name), key=lambda other: -len(by_setup[other]))
    for other in lenders:
        cases = _cases_of(by_setup[other], area)
        if len(cases) < 3 or not all(_has_height(case) for case, _ in cases):
            continue
        theirs = np.array([_place(case, here) for case, _ in cases])
        if max(hull_distance(theirs, start), hull_distance(theirs, end)) > 1.0:
            continue
        values = np.array([known.value for _, known in cases])
        at_start, at_end = tell_at(theirs, values, start), tell_at(theirs, values, end)
        if at_start.value * at_end.value <= 0.0:
            continue
        slope = at_end.gradient[:2] / HEIGHT_SCALE_M / at_end.value
        rel_u = math.hypot(at_start.u / at_start.value, at_end.u / at_end.value) if np.any(start != end) else 0.0
        return at_end.value / at_start.value, rel_u, slope
    return None


def _how(model: str, used: int) -> str:
    cases = f"{used} case{'s' if used != 1 else ''}"
    if model == "the case itself":
        return "a case at the car's own ride heights"
    if model == "mean":
        return "its one case" if used == 1 else f"the mean of {cases}"
    return f"{'a plane' if model == 'linear' else 'a quadratic'} through {cases}"


def _outside(mine: Sequence[tuple[PredictionCase, Quantity]], here: FloatArray, distance: float) -> str:
    """Why a prediction cannot be told there, in words."""
    fronts = [1e3 * case.front_ride_height_m for case, _ in mine if case.front_ride_height_m is not None]
    rears = [1e3 * case.rear_ride_height_m for case, _ in mine if case.rear_ride_height_m is not None]
    spans = " and ".join(f"{min(of):.0f} to {max(of):.0f} mm {end}" if np.ptp(of) > 0 else f"{of[0]:.0f} mm {end}"
                         for of, end in ((fronts, "front"), (rears, "rear")) if of)  # fmt: skip
    ran = f"ran at {1e3 * here[0]:.0f} mm front and {1e3 * here[1]:.0f} mm rear"
    return f"its cases hold {spans}, the car {ran}, {1e3 * distance * HEIGHT_SCALE_M:.0f} mm outside"


def _notes(
    cases: Sequence[PredictionCase], areas: Mapping[str, Area], at: Heights, speed_mps: float
) -> tuple[str, ...]:
    notes = []
    if not all(area.stated for area in areas.values()):
        notes.append(f"nobody stated a numerical uncertainty; {100 * NUMERICAL_REL_U:.0f} % (one u) was taken")
    without = [case for case in cases if case.front_ride_height_m is None and case.rear_ride_height_m is None]
    if len(without) == len(cases):
        notes.append("its cases give no ride heights and are taken as independent of them")
    elif len(cases) - len(without) == 1:
        notes.append("it has one case only, so nothing tells how it changes with ride height")
    if at.front is None:
        notes.append("the car's ride heights are not known: the mean of the cases was taken, as wide as they differ")
    speeds = [case.speed_mps for case in cases if case.speed_mps]
    if speeds and max(abs(one - speed_mps) for one in speeds) > SPEED_APART * speed_mps:
        notes.append(
            f"predicted at {3.6 * min(speeds):.0f} to {3.6 * max(speeds):.0f} km/h and taken as the same at"
            f" {3.6 * speed_mps:.0f} km/h"
        )
    return tuple(notes)
