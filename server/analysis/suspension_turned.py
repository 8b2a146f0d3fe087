"""Are motion ratios entered upside down? What accelerations and ride heights say for and against, both axles together.

    χ² of the entries − χ² with MR turned over,   of each axle the sum over
        movement under acceleration over the expected one: 1 or f
            dampers        f = MR²
            ride heights   f = (MR⁴ + K/2K_tyre)/(1 + K/2K_tyre),   where no damper tells
        drop of the body over wheel travel: see suspension_ratio

With MR upside down the load that is told is f times the true one. Who turned one ratio over mostly turned both, so an
axle that speaks against it counts as well. The links of a driven or braked axle may take a good part of its movement,
and add little to it: two half-normal errors. Axles with heave springs, which no ratio turns, are not judged. The
difference is twice the logarithm of the likelihood ratio of two simple hypotheses (Neyman and Pearson 1933, from
memory).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from statistics import fmean

from server.analysis.result import AxleEnd, LoadSource
from server.analysis.suspension_gains import LINKS_REL_U, Gain
from server.analysis.suspension_ratio import RatioCheck
from server.analysis.suspension_sensors import ENDS, CarLoads, entered_ratio
from server.testday.values import Finding, Quantity

TELLS = 3.0  # χ², both axles together: twice that by the scatter of simulated healthy days, whose misfits are 0.7 u
FITS = 6.0  # χ² of an axle with its ratio turned over: else something else is wrong with it
ALIKE_REL = 0.08  # a ratio within 4 % of 1 is as good upside down
LINKS_TAKE, LINKS_ADD = 0.5, 0.1  # of the movement of an axle that is driven or braked (common practice, no source)


@dataclass(frozen=True, slots=True)
class Movement:
    """Of an axle over the expected one [1]; linked: where links may take a share of it, which is not in u."""

    value: float
    u: float
    linked: bool

    def misfit(self, factor: float) -> float:
        """χ² if the axle ought to move by such a factor."""
        off = self.value - factor
        links = (LINKS_TAKE if off < 0.0 else LINKS_ADD) * factor if self.linked else 0.0
        return (off / hypot(self.u, links)) ** 2


@dataclass(frozen=True, slots=True)
class Evidence:
    """Of one axle: its ratio as entered, the factor f of the source that tells [1]; None for what tells nothing."""

    axle: AxleEnd
    ratio: float
    source: LoadSource
    factor: float
    movement: Movement | None
    check: RatioCheck | None

    @property
    def wrong(self) -> float:
        """χ² of the entries."""
        moved = self.movement.misfit(1.0) if self.movement else 0.0
        return moved + (_misfit(self.check.measured, self.check.entered) if self.check else 0.0)

    @property
    def right(self) -> float:
        """χ² with the ratio turned over."""
        moved = self.movement.misfit(self.factor) if self.movement else 0.0
        return moved + (_misfit(self.check.measured, self.check.inverted) if self.check else 0.0)

    @property
    def matters(self) -> bool:
        """Whether the ratio upside down would tell another load."""
        return abs(self.factor - 1.0) >= ALIKE_REL

    @property
    def turned(self) -> bool:
        """Whether it speaks for a ratio upside down, or at least against the entries, at all."""
        return self.matters and self.right < self.wrong and (self.right < FITS or self.wrong > 2.0 * FITS)


def turned_findings(
    checks: Sequence[RatioCheck], gains: Mapping[str, Gain], loads: CarLoads, weighed: Collection[AxleEnd]
) -> list[Finding]:
    """A finding for each axle whose motion ratio may be upside down, or of which the day cannot tell that it is not.

    weighed: axles that were loaded with a known mass, which tells.
    """
    evidence = list(_evidence(checks, gains, loads))
    against = sum(one.wrong - one.right for one in evidence)
    doubted = [one for one in evidence if one.turned] if against > TELLS else []
    if doubted:
        return [Finding("motion-ratio-doubtful", "check", _doubt(one)) for one in doubted]
    open_ = [one for one in evidence if one.matters and one.axle not in weighed]
    return [Finding("motion-ratio-unproved", "note", _unproved(open_))] if open_ and against > -TELLS else []


def _evidence(checks: Sequence[RatioCheck], gains: Mapping[str, Gain], loads: CarLoads) -> Iterator[Evidence]:
    for end in ENDS:
        factors = _factors(loads, end)
        of = {name: [g for g in gains.values() if (g.sensor.source, g.sensor.axle) == (name, end)] for name in factors}
        source = next((name for name in factors if of[name]), None)
        check = next((one for one in checks if one.axle == end), None)
        if factors and (source or check):
            told, ratio = source or "damper", entered_ratio(loads.axle(end)).value
            yield Evidence(end, ratio, told, factors[told], _movement(of[told]) if of[told] else None, check)


def _factors(loads: CarLoads, end: AxleEnd) -> dict[LoadSource, float]:
    """f of each source that may tell [1]; none where the springs are not given, or others stand beside them."""
    spring, axle = loads.springs[end], loads.axle(end)
    if spring is None or axle.heave_table:
        return {}
    ratio = entered_ratio(axle).value
    soft = spring.rate_n_per_m / (2.0 * axle.tyre_rate_n_per_m.value)
    return {"damper": ratio**2, "ride height": (ratio**4 + soft) / (1.0 + soft)}


def _movement(mine: Sequence[Gain]) -> Movement:
    """Of all sensors of an axle."""
    u = max(g.u**2 - (0.0 if g.clean else LINKS_REL_U * g.value) ** 2 for g in mine) ** 0.5
    return Movement(fmean(g.value for g in mine), u, not all(g.clean for g in mine))


def _doubt(one: Evidence) -> str:
    told = []
    if one.movement is not None:
        when = "launches and braking" if one.movement.linked else "launches"
        what = "dampers move" if one.source == "damper" else "ride height moves"
        less = ", less what the links take" if one.movement.linked else ""
        told.append(
            f"in {when} the {one.axle} {what} {one.movement.value:.2f} times as much as load transfer and the entries "
            f"ask for, where a ratio upside down would make it {one.factor:.2f}{less}"
        )
    if one.check is not None:
        told.append(
            f"the body comes down {one.check.measured.value:.2f} times the wheel travel that the dampers and the "
            f"entered ratio make, where tyres and springs allow {one.check.entered.value:.2f}, and with the ratio "
            f"turned over {one.check.inverted.value:.2f}"
        )
    return (
        f"The {one.axle} motion ratio {one.ratio:.3g} may be entered upside down (damper travel over wheel travel is "
        f"meant; turned over it is {1.0 / one.ratio:.3g}): {'; '.join(told)}. Measure it on the car. Still used."
    )


def _unproved(open_: Sequence[Evidence]) -> str:
    ratios = " and ".join(f"the {one.axle} motion ratio {one.ratio:.3g}" for one in open_)
    loads = " and ".join(f"{1.0 / one.factor:.2f} times the {one.axle} downforce that is told" for one in open_)
    return (
        f"Nothing on this day tells whether {ratios} {'is' if len(open_) == 1 else 'are'} entered the right way up "
        f"(damper travel over wheel travel); upside down, the car would make {loads}. Measure it on the car once, or "
        "load the standing axle with a known mass."
    )


def _misfit(measured: Quantity, of: Quantity) -> float:
    return (measured.value - of.value) ** 2 / (measured.u**2 + of.u**2)
