"""What to do next for a setup: more passes, the other direction, or an input worth measuring."""

from __future__ import annotations

import math

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


def used_coast_downs(setup: SetupResult) -> tuple[int, int, int]:
    """Used coast-downs of a setup: in all, travelling out, travelling back."""
    used = [one.direction for one in setup.passes if one.used and one.kind == "coast-down"]
    return len(used), used.count(1), used.count(-1)


def next_step(setup: SetupResult, wanted_u95_m2: float = WANTED_U95_M2) -> str:
    """One clause after the number: what would bring it to the wanted half width U95 [m²]."""
    n, out, back = used_coast_downs(setup)
    scx = setup.estimates.get(QUANTITY)
    if scx is None:
        return "run coast-downs in both directions of the straight" if n == 0 else "see the findings below"
    wanted = f"± {wanted_u95_m2:g} m²"
    if n and min(out, back) == 0 and out + back == n:
        return f"all went {'out' if out else 'back'}: run as many the other way before trusting it"
    if abs(out - back) >= 2 and out + back == n:
        more, way = count_word(abs(out - back)), "back" if out > back else "out"
        return f"{more} more {way} would balance the directions"
    if scx.u95 <= wanted_u95_m2:
        return f"that is within the wanted {wanted}"
    each_way = more_each_way(setup, scx, wanted_u95_m2)
    if each_way is None:
        return f"more passes alone will not reach the wanted {wanted}{_largest_stated(setup)}"
    return f"about {count_word(each_way)} more each way would reach the wanted {wanted}"


def more_each_way(setup: SetupResult, scx: Estimate, wanted_u95_m2: float) -> int | None:
    """Passes to add in each direction so that U95 falls to the wanted one; None when that many cannot be run.

    u²(n) = A·n₀/n + B, with A and B the summed squares of the type A and type B contributions, scaled to
    the u at hand, and U95/u as it is now. An estimate from the budget, not a simulation.
    """
    n, _, _ = used_coast_downs(setup)
    lines = [line for line in setup.budget if line.quantity == QUANTITY]
    random = sum(line.contribution**2 for line in lines if line.type == "A")
    stated = sum(line.contribution**2 for line in lines if line.type == "B")
    if n == 0 or random == 0.0:
        return None
    scale = scx.u**2 / (random + stated)
    room = (wanted_u95_m2 * scx.u / scx.u95) ** 2 - stated * scale
    if room <= 0.0:
        return None
    more = max(1, math.ceil((n * random * scale / room - n) / 2.0))
    return more if more <= MOST_PASSES_ADVISED else None


def count_word(number: int) -> str:
    """A number as a sentence says it: in words up to twelve."""
    return WORDS[number] if number < len(WORDS) else str(number)


def _largest_stated(setup: SetupResult) -> str:
    lines = [line for line in setup.budget if line.quantity == QUANTITY and line.type == "B"]
    if not lines:
        return ""
    most = max(lines, key=lambda line: line.contribution)
    advice = "it was not given, measure it" if most.source == "default" else "measure it or state it more closely"
    return f"; the largest stated part is {most.input.partition(' (')[0]}: {advice}"
