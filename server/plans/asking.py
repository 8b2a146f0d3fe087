"""What is typed of a planned day, read with the place named where it makes no sense."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.analysis.asked_day import MOST_PAIRS, DayRequest, Pace, Wanted
from server.days.form_fields import decimal_of
from server.errors import StillairError

MOST_CHANGES = 6
LONGEST_NAME = 40
KMH_TO_MPS = 1.0 / 3.6
TIME = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


@dataclass(frozen=True, slots=True)
class AskField:
    """A number of the form: its name, words, unit, what stands there at first, and the numbers that are taken."""

    name: str
    label: str
    unit: str
    default: str
    low: float
    high: float
    help: str = ""


FIELDS = (
    AskField("lift_kmh", "Lift at", "km/h", "100", 20, 300, "The fastest; the longer the coast-down, the better."),
    AskField("brake_kmh", "Brake from", "km/h", "30", 5, 200, "Low speeds tell rolling from drag."),
    AskField("length_m", "Length of the straight", "m", "1200", 100, 20_000, "That may be driven on, end to end."),
    AskField("gust_mps", "Gusts", "m/s", "", 0.05, 3.0, "Standard deviation along the straight; empty: as on the"
             " day like it, else 0.4. Roughly a third of gust less mean wind (common practice, no source)."),
    AskField("along_mps", "Mean wind along", "m/s", "", 0, 15, "From the forecast; empty: as on the day like it, else"
             " none. One way has it from behind and takes more road."),
    AskField("cross_mps", "Mean wind across", "m/s", "", 0, 15, "It lies on the car from the side in every pass."),
    AskField("between_min", "Between outings", "min", "10", 0, 240),
    AskField("change_min", "To change a setup", "min", "15", 0, 480, "On top of the time between outings."),
    AskField("outing_pairs", "Pairs an outing", "pairs", "6", 1, MOST_PAIRS, "As battery, fuel and driver allow."),
    AskField("refill_min", "To refuel or change batteries", "min", "0", 0, 480, "Each time so many pairs are driven, on"
             " top of the time between outings; 0: it is done in that time."),
)  # fmt: skip
BY_NAME = {field.name: field for field in FIELDS}


@dataclass(frozen=True, slots=True)
class Asked:
    """A request as it was typed: the day that it is to be like (None: stated defaults), and what was turned."""

    request: DayRequest
    like_day_id: int | None
    turned: tuple[str, ...]


def asked_of(fields: Mapping[str, str], setups: Sequence[str], u95: Sequence[str], turned: Sequence[str]) -> Asked:
    """The form's fields, and its rows of changes. Raises StillairError naming the place."""
    numbers = {field.name: _number(field, fields.get(field.name, "")) for field in FIELDS}
    rows = [(s.strip(), w.strip(), t.strip()) for s, w, t in zip(setups, u95, turned, strict=True)]
    rows = [row for row in rows if any(row)]
    if len(rows) > MOST_CHANGES:
        raise StillairError(f"A day holds at most {MOST_CHANGES} changes; spread the others over another day.")
    wanted = tuple(_wanted(place, name, width) for place, (name, width, _) in enumerate(rows, start=1))
    lift, brake = numbers["lift_kmh"] or 0.0, numbers["brake_kmh"] or 0.0
    if brake >= lift:
        raise StillairError(f"Braking from {brake:g} km/h must lie below lifting at {lift:g} km/h.")
    request = DayRequest(
        name=_name("The name of the day", fields.get("name", "").strip() or "Planned day", 120),
        baseline=_name("The baseline", fields.get("baseline", "").strip()),
        wanted=wanted,
        high_mps=lift * KMH_TO_MPS,
        low_mps=brake * KMH_TO_MPS,
        length_m=numbers["length_m"] or 0.0,
        gust_sd_mps=numbers["gust_mps"],
        start_clock_s=_clock(fields.get("start", "09:00")),
        outing_pairs=round(numbers["outing_pairs"] or 1),
        pace=Pace(
            60.0 * (numbers["between_min"] or 0.0),
            60.0 * (numbers["change_min"] or 0.0),
            refill_s=60.0 * (numbers["refill_min"] or 0.0),
        ),
        along_mps=numbers["along_mps"],
        cross_mps=numbers["cross_mps"],
    )
    like = fields.get("like", "").strip()
    if like and not (like.isascii() and like.isdigit()):
        raise StillairError("The day that this one is to be like is chosen from the list.")
    return Asked(request, int(like) if like else None, tuple(turned for _, _, turned in rows))


def request_as_json(asked: Asked) -> dict[str, Any]:
    """The request as it is kept."""
    one = asked.request
    return {
        "name": one.name,
        "baseline": one.baseline,
        "wanted": [{"setup": w.setup, "u95_m2": w.u95_m2} for w in one.wanted],
        "turned": list(asked.turned),
        "high_mps": one.high_mps,
        "low_mps": one.low_mps,
        "length_m": one.length_m,
        "gust_sd_mps": one.gust_sd_mps,
        "along_mps": one.along_mps,
        "cross_mps": one.cross_mps,
        "start_clock_s": one.start_clock_s,
        "outing_pairs": one.outing_pairs,
        "between_s": one.pace.between_s,
        "change_s": one.pace.change_s,
        "refill_s": one.pace.refill_s,
        "like_day_id": asked.like_day_id,
    }


def request_from_json(kept: Mapping[str, Any]) -> Asked:
    """The same read back."""
    request = DayRequest(
        kept["name"],
        kept["baseline"],
        tuple(Wanted(**one) for one in kept["wanted"]),
        *(kept[name] for name in ("high_mps", "low_mps", "length_m", "gust_sd_mps", "start_clock_s", "outing_pairs")),
        Pace(kept["between_s"], kept["change_s"], refill_s=kept.get("refill_s", 0.0)),
        along_mps=kept.get("along_mps"),
        cross_mps=kept.get("cross_mps"),
    )
    return Asked(request, kept["like_day_id"], tuple(kept["turned"]))


def _wanted(place: int, name: str, width: str) -> Wanted:
    label = f"The wanted interval of change {place}"
    number = decimal_of(width, "u95", label) if width else None
    if number is None:
        raise StillairError(f"{label} is missing: say how narrow the difference of SCx is to be, such as 0.05 m².")
    if not 0.001 <= number <= 2:
        raise StillairError(f"{label} must lie between 0.001 and 2 m², not {width}.")
    return Wanted(_name(f"The setup of change {place}", name), float(number))


def _name(label: str, text: str, longest: int = LONGEST_NAME) -> str:
    if not text:
        raise StillairError(f"{label} has no name.")
    if len(text) > longest or not text.isprintable():
        raise StillairError(f"{label} must be one line of at most {longest} signs.")
    return text


def _number(field: AskField, text: str) -> float | None:
    text = text.strip() or field.default
    number = decimal_of(text, field.name, field.label) if text else None
    if number is not None and not field.low <= number <= field.high:
        span = f"{field.low:g} and {field.high:g} {field.unit}"
        raise StillairError(f"{field.label} must lie between {span}, not {text}.")
    return None if number is None else float(number)


def _clock(text: str) -> float:
    found = TIME.fullmatch(text.strip())
    if found is None:
        raise StillairError(f"The start of the day must be a time such as 09:00, not “{text[:20]}”.")
    return 3600.0 * int(found[1]) + 60.0 * int(found[2])
