"""Do a reading and the prediction, two readings, or two setups say the same? The numbers in words for the pages."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, TypeAlias

from server.testday.tufts import TuftMark, TuftStation
from server.tufts.placing import PlacedStation

if TYPE_CHECKING:
    from server.aero.homography import Homography
    from server.analysis.tuft_agreement import Moved, Reading, TuftAgreement
    from server.inference.agreement_kappa import Agreement
    from server.inference.circular import CircularMean

Readings: TypeAlias = "Mapping[tuple[str, str], Reading]"  # by part and station
ALONE_PX = 60.0
LEAST_TOLD, LEAST_ANGLES = 5, 2
NO_DIRECTION = "separated"


def seen_on_part(
    marks: Sequence[TuftMark], stations: Sequence[PlacedStation], lie: Homography | None
) -> dict[tuple[str, str], Reading]:
    """What a reading says at the stations, its directions as they are on the part."""
    if lie is None:
        return {}
    from server.analysis.tuft_registration import matched, on_part

    there = {one.station.name: one.station.part for one in stations}
    found: dict[tuple[str, str], Reading] = {}
    for mark in matched(marks, [one.seen for one in stations]):
        if mark.station in there:
            told = on_part(mark, lie)
            found.setdefault((there[mark.station], mark.station), reading(told.direction_rad, mark, told.u_rad))
    return found


def predicted_on_part(stations: Sequence[PlacedStation]) -> dict[tuple[str, str], Reading]:
    """What the prediction says at its stations."""
    return {(one.station.part, one.station.name): reading(one.station.direction_rad, one.station) for one in stations}


def reading(direction_rad: float | None, told: TuftMark | TuftStation, u_rad: float | None = None) -> Reading:
    """What is separated has no direction that could be compared."""
    from server.analysis.tuft_agreement import Reading

    has_one = told.condition != NO_DIRECTION
    return Reading(direction_rad if has_one else None, told.condition, u_rad if has_one else None)


def against_prediction(seen: Readings, predicted: Readings) -> str:
    """Whether what was seen is what is predicted, in words; empty where nothing is."""
    if not (seen and predicted):
        return ""
    from server.analysis.tuft_agreement import agree, pairs

    return in_words(agree(pairs(predicted, seen)))


def between_readings(
    first: Sequence[TuftMark], second: Sequence[TuftMark], stations: Sequence[PlacedStation], lie: Homography | None
) -> str:
    """Two readings of one photo in words: at its stations, or, where it has none, mark by mark."""
    from server.analysis.tuft_agreement import TuftPair, agree, pairs

    if stations and lie is not None:
        return in_words(agree(pairs(seen_on_part(first, stations, lie), seen_on_part(second, stations, lie))))
    near = enumerate(nearest(first, second), start=1)
    return in_words(agree([TuftPair("", str(n), _as_drawn(one), _as_drawn(two)) for n, (one, two) in near]))


def _as_drawn(mark: TuftMark) -> Reading:
    return reading(mark.direction_rad, mark)


def nearest(first: Sequence[TuftMark], second: Sequence[TuftMark]) -> list[tuple[TuftMark, TuftMark]]:
    """Marks that are each other's nearest, and nearer than about half of the way to the next of their own reading."""
    from server.analysis.tuft_registration import MATCH_REACH

    found = []
    for one in first:
        other = min(second, key=lambda mark, at=one: _apart(mark, at), default=None)  # type: ignore[misc]
        if other is None or min(first, key=lambda mark, at=other: _apart(mark, at)) is not one:  # type: ignore[misc]
            continue
        own = min((_apart(one, mark) for mark in first if mark is not one), default=ALONE_PX / MATCH_REACH)
        if _apart(one, other) <= MATCH_REACH * own:
            found.append((one, other))
    return found


def _apart(one: TuftMark, other: TuftMark) -> float:
    return math.hypot(one.x_px - other.x_px, one.y_px - other.y_px)


def between_setups(first: Sequence[Readings], second: Sequence[Readings]) -> str:
    """Two setups at the same stations, each by its photos: conditions, turns, and how many tufts moved for sure."""
    from server.analysis.tuft_agreement import agree, pairs

    words = in_words(agree(pairs(first_of_each(first), first_of_each(second))))
    told = moved_tufts(first, second)
    sure = sum(one.moved for one in told)
    count = f"{sure} of {len(told)} turned by more than their 95 % interval" if told else ""
    return "; ".join(part for part in (words, count) if part)


def first_of_each(photos: Sequence[Readings]) -> dict[tuple[str, str], Reading]:
    """Of a station on several photos, what stands on the first."""
    found: dict[tuple[str, str], Reading] = {}
    for one in photos:
        found = {**one, **found}
    return found


def moved_tufts(first: Sequence[Readings], second: Sequence[Readings]) -> list[Moved]:
    """Tuft by tuft, from all photos of both setups."""
    from server.analysis.tuft_agreement import moved

    keys = dict.fromkeys(key for one in first for key in one)
    told = (moved(*key, *([photo[key] for photo in side if key in photo] for side in (first, second))) for key in keys)
    return [one for one in told if one is not None]


def in_words(found: TuftAgreement) -> str:
    """The numbers in words; empty where there are none."""
    angle = found.angle if found.angle is not None and found.angle.n >= LEAST_ANGLES else None
    return "; ".join(part for part in (_condition_words(found.condition), _angle_words(angle)) if part)


def _condition_words(found: Agreement | None) -> str:
    if found is None:
        return ""
    share = f"{round(found.share * found.n)} of {found.n} conditions alike"
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
