"""Which part of a result's u other days of the same car share, so that no number of days averages it out."""

from __future__ import annotations

import math

from server.analysis.compared_days import OF_THE_DAY
from server.analysis.result import SetupResult


def shared_u(setup: SetupResult, quantity: str) -> float:
    """√Σ of the squared contributions that days share; all of u where no budget splits it.

    Not above u: a budget is of the best noise, u of all that was thought possible.
    """
    u = setup.estimates[quantity].u
    lines = [line for line in setup.budget if line.quantity == quantity]
    if not lines:
        return u
    shared = (line.contribution**2 for line in lines if line.type == "B" and line.input not in OF_THE_DAY)
    return min(u, math.sqrt(sum(shared)))
