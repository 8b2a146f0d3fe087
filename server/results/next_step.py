"""What to do next for a setup: more passes, the other direction, or an input worth measuring."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.analysis.result import Estimate, SetupResult

QUANTITY = "SCx"
PASSES_A_DIRECTION = 4
WANTED_U95_M2 = 0.03
MOST_PASSES_ADVISED = 24
WORDS = (
    "none",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a setup is: used coast-downs in all, out and back; u and U95 of SCx [m²], None without an area.

    random, stated: summed squares of the type A and type B contributions to u [m⁴]; largest, largest_source: the
    stated input that gives most, empty where none does.
    """

    passes: int
    out: int
    back: int
    u: float | None
    u95: float | None
    random: float
    stated: float
    largest: str
    largest_source: str

    def as_json(self) -> dict[str, Any]:
        """As a summary keeps it."""
        return dataclasses.asdict(self)


def standing_of(setup: SetupResult) -> Standing:
    """The standing of a setup of a result."""
    scx = setup.estimates.get(QUANTITY)
    lines = [line for line in setup.budget if line.quantity == QUANTITY]
    stated = [line for line in lines if line.type == "B"]
    most = max(stated, key=lambda line: line.contribution, default=None)
    return Standing(
        *used_coast_downs(setup),
        u=scx.u if scx else None,
        u95=scx.u95 if scx else None,
        random=sum(line.contribution**2 for line in lines if line.type == "A"),
        stated=sum(line.contribution**2 for line in stated),
        largest=most.input if most else "",
        largest_source=most.source if most else "",
    )


def standing_from(kept: Mapping[str, Any]) -> Standing:
    """The standing that a summary keeps."""
    return Standing(**kept)


def used_coast_downs(setup: SetupResult) -> tuple[int, int, int]:
    """Used coast-downs of a setup: in all, travelling out, travelling back."""
    used = [one.direction for one in setup.passes if one.used and one.kind == "coast-down"]
    return len(used), used.count(1), used.count(-1)


def next_step(setup: SetupResult, wanted_u95_m2: float = WANTED_U95_M2) -> str:
    """One clause after the number: what would bring it to the wanted half width U95 [m²]."""
    return step_from(standing_of(setup), wanted_u95_m2)


def step_from(at: Standing, wanted_u95_m2: float = WANTED_U95_M2) -> str:
    """The same of a standing."""
    n, out, back = at.passes, at.out, at.back
    if at.u95 is None:
        return "run coast-downs in both directions of the straight" if n == 0 else "see the findings below"
    wanted = f"± {wanted_u95_m2:g} m²"
    if n and min(out, back) == 0 and out + back == n:
        return f"all went {'out' if out else 'back'}: run as many the other way before trusting it"
    if abs(out - back) >= 2 and out + back == n:
        more, way = count_word(abs(out - back)), "back" if out > back else "out"
        return f"{more} more {way} would balance the directions"
    if at.u95 <= wanted_u95_m2:
        return f"that is within the wanted {wanted}"
    each_way = each_way_from(at, wanted_u95_m2)
    if each_way is None:
        return f"more passes alone will not reach the wanted {wanted}{_largest_stated(at)}"
    return f"about {count_word(each_way)} more each way would reach the wanted {wanted}"


def more_each_way(setup: SetupResult, scx: Estimate, wanted_u95_m2: float) -> int | None:
    """Passes to add in each direction so that U95 falls to the wanted one; None when that many cannot be run."""
    at = dataclasses.replace(standing_of(setup), u=scx.u, u95=scx.u95)
    return each_way_from(at, wanted_u95_m2)


def each_way_from(at: Standing, wanted_u95_m2: float) -> int | None:
    """The same of a standing.

    u²(n) = A·n₀/n + B, with A and B the summed squares of the type A and type B contributions, scaled to
    the u at hand, and U95/u as it is now. An estimate from the budget, not a simulation.
    """
    n = at.passes
    if n == 0 or at.random == 0.0 or not at.u or not at.u95:
        return None
    scale = at.u**2 / (at.random + at.stated)
    room = (wanted_u95_m2 * at.u / at.u95) ** 2 - at.stated * scale
    if room <= 0.0:
        return None
    more = max(1, math.ceil((n * at.random * scale / room - n) / 2.0))
    return more if more <= MOST_PASSES_ADVISED else None


def count_word(number: int) -> str:
    """A number as a sentence says it: in words up to twelve."""
    return WORDS[number] if number < len(WORDS) else str(number)


def _largest_stated(at: Standing) -> str:
    if not at.largest:
        return ""
    advice = "it was not given, measure it" if at.largest_source == "default" else "measure it or state it more closely"
    return f"; the largest stated part is {at.largest.partition(' (')[0]}: {advice}"
