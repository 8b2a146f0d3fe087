"""Do a reading and the prediction, or two readings, say the same? Conditions by share and kappa; directions."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from server.aero.homography import Homography
from server.inference.agreement_kappa import Agreement, agreement, cross_table
from server.inference.circular import CircularMean, circular_mean, difference
from server.testday.tufts import CONDITIONS, TuftMark, TuftStation
from server.tufts.placing import PlacedStation

REACH = 0.45  # of the distance to the nearest other station: nearer belongs to this one
ALONE_PX = 60.0
LEAST_ANGLES = 2
LEAST_TOLD = 5
NO_DIRECTION = "separated"


@dataclass(frozen=True, slots=True)
class Pair:
    """One place judged twice: by a reading and by the prediction, or by two readings. turned_rad: first from second."""

    place: str
    first: str
    second: str
    turned_rad: float | None


@dataclass(frozen=True, slots=True)
class Compared:
    """What pairs come to. conditions: None without one judged by both; angles: None below two."""

    n: int
    conditions: Agreement | None
    angles: CircularMean | None

    @property
    def sentence(self) -> str:
        """The numbers in words."""
        return "; ".join(part for part in (_condition_words(self.conditions), _angle_words(self.angles)) if part)


def compared(pairs: Sequence[Pair]) -> Compared:
    """Share, kappa, mean and spread of the angle between."""
    judged = [one for one in pairs if one.first and one.second]
    table = cross_table([one.first for one in judged], [one.second for one in judged], CONDITIONS)
    angles = [one.turned_rad for one in pairs if one.turned_rad is not None]
    return Compared(
        len(pairs), agreement(table, CONDITIONS), circular_mean(angles) if len(angles) >= LEAST_ANGLES else None
    )


def with_prediction(found: Mapping[str, TuftMark], stations: Sequence[PlacedStation]) -> list[Pair]:
    """What was seen at stations (`seen_on_part`) against what is predicted there, directions on the part."""
    told = {one.station.name: one.station for one in stations}
    return [
        Pair(name, mark.condition or "", told[name].condition or "", _turned(mark, told[name]))
        for name, mark in found.items()
        if name in told
    ]


def between_readings(
    first: Sequence[TuftMark], second: Sequence[TuftMark], stations: Sequence[PlacedStation]
) -> list[Pair]:
    """Two readings of one photo, place by place: by stations where there are any, else each other's nearest mark."""
    if stations:
        return at_the_same_stations(by_station(first, stations), by_station(second, stations))
    return [_pair(str(number), a, b) for number, (a, b) in enumerate(_nearest(first, second), start=1)]


def at_the_same_stations(first: Mapping[str, TuftMark], second: Mapping[str, TuftMark]) -> list[Pair]:
    """Station by station, as of two setups."""
    return [_pair(name, first[name], second[name]) for name in first if name in second]


def seen_on_part(
    marks: Iterable[TuftMark], stations: Sequence[PlacedStation], lie: Homography | None
) -> dict[str, TuftMark]:
    """Station → its mark, its direction as it is on the part: photos from other places can be compared."""
    if lie is None:
        return {}
    places = {one.station.name: (one.station.x_m, one.station.y_m) for one in stations}
    found = {}
    for name, mark in by_station(marks, stations).items():
        if mark.direction_rad is not None and name in places:
            turned = float(lie.direction_on_part([places[name]], [mark.direction_rad])[0])
            found[name] = replace(mark, direction_rad=turned)
        elif name in places:
            found[name] = mark
    return found


def by_station(marks: Iterable[TuftMark], stations: Sequence[PlacedStation]) -> dict[str, TuftMark]:
    """Station → its mark: the one that names it, else the nearest within reach of it alone."""
    marks = list(marks)
    found = {one.station: one for one in marks if one.station}
    free = [one for one in marks if not one.station]
    for place in stations:
        near = min(free, key=lambda mark, at=place: _apart(mark, at.mark), default=None)  # type: ignore[misc]
        if place.station.name not in found and near is not None and _apart(near, place.mark) <= _reach(place, stations):
            found[place.station.name] = near
    return found


def _reach(place: PlacedStation, stations: Sequence[PlacedStation]) -> float:
    others = (_apart(place.mark, one.mark) for one in stations if one is not place)
    return REACH * min(others, default=ALONE_PX / REACH)


def _nearest(first: Sequence[TuftMark], second: Sequence[TuftMark]) -> list[tuple[TuftMark, TuftMark]]:
    """Marks that are each other's nearest, and nearer than half of the way to the next of their own reading."""
    pairs = []
    for one in first:
        other = min(second, key=lambda mark, at=one: _apart(mark, at), default=None)  # type: ignore[misc]
        if other is None or min(first, key=lambda mark, at=other: _apart(mark, at)) is not one:  # type: ignore[misc]
            continue
        own = min((_apart(one, mark) for mark in first if mark is not one), default=ALONE_PX / REACH)
        if _apart(one, other) <= REACH * own:
            pairs.append((one, other))
    return pairs


def _apart(one: TuftMark, other: TuftMark) -> float:
    return math.hypot(one.x_px - other.x_px, one.y_px - other.y_px)


def _pair(place: str, one: TuftMark, two: TuftMark) -> Pair:
    return Pair(place, one.condition or "", two.condition or "", _turned(one, two))


def _turned(one: TuftMark | TuftStation, other: TuftMark | TuftStation) -> float | None:
    """By how much the first is turned from the second; what is separated has no direction."""
    if NO_DIRECTION in (one.condition, other.condition) or one.direction_rad is None or other.direction_rad is None:
        return None
    return difference(one.direction_rad, other.direction_rad)


def _condition_words(found: Agreement | None) -> str:
    if found is None:
        return ""
    alike = round(found.share * found.n)
    share = f"{alike} of {found.n} conditions alike"
    if found.n < LEAST_TOLD:
        return f"{share}, too few to say more"
    low, high = 100 * found.share_low95, 100 * found.share_high95
    share = f"{share} ({100 * found.share:.0f} %, 95 % bounds {low:.0f} to {high:.0f} %)"
    if found.kappa is None:
        return f"{share}; all of one kind, so chance says the same"
    kappa = f"kappa {found.kappa:.2f} (95 % bounds {found.kappa_low95:.2f} to {found.kappa_high95:.2f})"
    return f"{share}, {kappa.replace('-', '−')}"


def _angle_words(found: CircularMean | None) -> str:
    if found is None:
        return ""
    mean, spread = math.degrees(found.mean_rad), math.degrees(found.spread_rad)
    interval = "" if found.half95_rad is None else f" ± {math.degrees(found.half95_rad):.1f}°"
    way = f"{mean:+.1f}".replace("-", "−")
    return f"{found.n} directions: turned by {way}°{interval} in the mean, spread {spread:.1f}°"
