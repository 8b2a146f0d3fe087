"""A kept plan in the words and units of its page and its run sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from server.analysis.asked_day import MOST_PAIRS
from server.figures.theme import SetupMark, setup_marks
from server.plans.plan_job import KeptPlan
from server.results.quantities import two_digits

MPS_TO_KMH = 3.6


@dataclass(frozen=True, slots=True)
class OutingRow:
    """One outing on the sheet."""

    number: int
    start: str
    mark: SetupMark
    setup: str
    turned: str
    pairs: int
    takes: str
    change: bool
    refill: bool


@dataclass(frozen=True, slots=True)
class DifferenceLine:
    """What the planned day is expected to tell of one change."""

    mark: SetupMark
    setup: str
    turned: str
    wanted: str
    expected: str
    pairs: str
    floor: str
    closed_form: str


@dataclass(frozen=True, slots=True)
class PlanView:
    """Everything that the page and the sheet show."""

    number: int
    name: str
    by: str
    sentence: str
    second: str
    reached: bool
    outings: tuple[OutingRow, ...]
    differences: tuple[DifferenceLine, ...]
    straight: tuple[tuple[str, str], ...]
    gusts: tuple[tuple[str, str], ...]
    mean_winds: tuple[tuple[str, str, str], ...]
    made_from: str
    lift: str
    brake: str
    ends: str


def plan_view(kept: KeptPlan) -> PlanView:
    """The plan as it is shown."""
    content = kept.content
    asked, planning = content["asked"], content["planning"]
    names = [asked["baseline"], *(one["setup"] for one in asked["wanted"])]
    marks, turned = setup_marks(names), dict(zip(names[1:], asked["turned"], strict=True))
    outings = _outings(content, marks, turned)
    return PlanView(
        number=kept.number,
        name=asked["name"],
        by=f"{kept.who}, {kept.at[:16].replace('T', ' ')} UTC",
        sentence=_sentence(planning, outings, content),
        second=_second(planning),
        reached=planning["reached"],
        outings=outings,
        differences=tuple(_difference(one, marks, turned) for one in planning["differences"]),
        straight=_straight(content["straight"]),
        gusts=tuple((f"{one['gust_sd_mps']:.2g} m/s", _pairs_text(one["pairs"])) for one in content["gusts"]),
        mean_winds=tuple(_mean_wind(one) for one in content.get("mean_winds", ())),
        made_from=_made_from(content),
        lift=f"{MPS_TO_KMH * asked['high_mps']:.0f} km/h",
        brake=f"{MPS_TO_KMH * asked['low_mps']:.0f} km/h",
        ends=_clock(_end(content)),
    )


def _sentence(planning: dict[str, Any], outings: tuple[OutingRow, ...], content: dict[str, Any]) -> str:
    pairs, base = planning["pairs"], planning["baseline_pairs"]
    day = f"{len(outings)} outings from {outings[0].start} to {_clock(_end(content))}"
    head = f"{pairs} pair{'s' if pairs > 1 else ''} of coast-downs of each change and {base} of the baseline, {day}"
    if planning["reached"]:
        return f"{head}, reach every wanted interval."
    far = [one for one in planning["differences"] if one["pairs"] is None]
    worst = max(far, key=lambda one: one["u95_m2"] / one["wanted_u95_m2"])
    return (
        f"{MOST_PAIRS} pairs of each change do not reach what is wanted: {worst['setup']} would be told to"
        f" ± {two_digits(worst['u95_m2'], 'm²')}, wanted is ± {worst['wanted_u95_m2']:g} m²."
    )


def _second(planning: dict[str, Any]) -> str:
    if planning["reached"]:
        return "Print the run sheet, walk the straight, agree on the limits of the day."
    return "Wait for less wind, ask for less, or plan two days; what can be had is below."


def _outings(content: dict[str, Any], marks: dict[str, SetupMark], turned: dict[str, str]) -> tuple[OutingRow, ...]:
    found, before = [], None
    for one in content["outings"]:
        name = one["setup"]
        found.append(
            OutingRow(
                one["number"],
                _clock(one["start_s"]),
                marks[name],
                name,
                turned.get(name, ""),
                one["pairs"],
                f"{max(1.0, one['takes_s'] / 60.0):.0f} min",
                before is not None and before != name,
                bool(one.get("refill")),
            )
        )
        before = name
    return tuple(found)


def _difference(one: dict[str, Any], marks: dict[str, SetupMark], turned: dict[str, str]) -> DifferenceLine:
    name = one["setup"]
    return DifferenceLine(
        marks[name],
        name,
        turned.get(name, ""),
        f"± {one['wanted_u95_m2']:g} m²",
        f"± {two_digits(one['u95_m2'], 'm²')}",
        _pairs_text(one["pairs"]),
        f"± {two_digits(one['floor_m2'], 'm²')}" if one["floor_m2"] > 0.0 else "none seen",
        f"± {two_digits(one['closed_form_m2'], 'm²')}",
    )


def _pairs_text(pairs: int | None) -> str:
    return f"{pairs}" if pairs is not None else f"more than {MOST_PAIRS}"


def _mean_wind(one: dict[str, Any]) -> tuple[str, str, str]:
    left = f"{one['left_m']:.0f} m" if one["left_m"] >= 0.0 else f"{-one['left_m']:.0f} m too short"
    return f"{one['along_mps']:g} m/s", _pairs_text(one["pairs"]), left


def _straight(check: dict[str, float]) -> tuple[tuple[str, str], ...]:
    lines = (
        ("speed up", "accelerate_m"),
        ("coast", "coast_m"),
        ("brake from there", "brake_m"),
        ("room to stop from the highest speed, 1.5 s to see and act in it", "stop_m"),
        ("kept free at both ends", "margin_m"),
        ("left of the straight", "left_m"),
        ("length of the straight", "length_m"),
    )
    return tuple((words, f"{check[name]:.0f} m") for words, name in lines)


def _made_from(content: dict[str, Any]) -> str:
    days, gust = content["planning"]["days"], content["gust_sd_mps"]
    like = f"like {content['like']}" if content["like"] else "of a made-up student car with the product’s defaults"
    wind = ""
    if "along_mps" in content:
        along, across = abs(content["along_mps"]), abs(content["cross_mps"])
        wind = f", a mean wind of {along:.2g} m/s along and {across:.2g} m/s across"
    return f"From {days} simulated days {like}, each fitted as a day is, with gusts of {gust:.2g} m/s{wind}."


def _end(content: dict[str, Any]) -> float:
    last = content["outings"][-1]
    return float(last["start_s"] + last["takes_s"])


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
