"""Are motion ratios entered upside down? What launches and ride heights say for and against, both axles together.

    χ² of the entries − χ² with MR turned over,   of each axle the sum over
        dampers in launches: movement over the expected one, 1 or MR²      (clean axles alone)
        drop of the body over wheel travel: see suspension_ratio

An axle that takes part has evidence for turning; who turned one ratio over mostly turned both. The difference is
twice the logarithm of the likelihood ratio of two simple hypotheses with normal errors (Neyman and Pearson 1933, from
memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

from server.analysis.result import AxleEnd
from server.analysis.suspension_gains import Gain
from server.analysis.suspension_ratio import RatioCheck
from server.analysis.suspension_sensors import ENDS, CarLoads, entered_ratio
from server.testday.values import Finding, Quantity

TELLS = 4.0  # χ², both axles together: twice that by the scatter of simulated healthy days, whose misfits are 0.7 u
FITS = 6.0  # χ² of an axle with its ratio turned over: else something else is wrong with it
ALIKE_REL = 0.08  # a ratio within 4 % of 1 is as good upside down


@dataclass(frozen=True, slots=True)
class Evidence:
    """Of one axle: its ratio as entered, what launches and ride heights tell, None where they don't; all ratios [1]."""

    axle: AxleEnd
    ratio: float
    launch: Quantity | None
    check: RatioCheck | None

    @property
    def wrong(self) -> float:
        """χ² of the entries."""
        launch = 0.0 if self.launch is None else ((self.launch.value - 1.0) / self.launch.u) ** 2
        return launch + (_misfit(self.check.measured, self.check.entered) if self.check else 0.0)

    @property
    def right(self) -> float:
        """χ² with the ratio turned over."""
        launch = 0.0 if self.launch is None else ((self.launch.value - self.ratio**2) / self.launch.u) ** 2
        return launch + (_misfit(self.check.measured, self.check.inverted) if self.check else 0.0)

    @property
    def turned(self) -> bool:
        """Whether it speaks for a ratio upside down at all."""
        return abs(self.ratio**2 - 1.0) >= ALIKE_REL and self.right < min(self.wrong, FITS)


def turned_findings(checks: Sequence[RatioCheck], gains: Mapping[str, Gain], loads: CarLoads) -> list[Finding]:
    """A finding for each axle whose motion ratio may be entered upside down; none where the evidence is thin."""
    turned = [one for one in _evidence(checks, gains, loads) if one.turned]
    if sum(one.wrong - one.right for one in turned) <= TELLS:
        return []
    return [Finding("motion-ratio-doubtful", "check", _text(one)) for one in turned]


def _evidence(checks: Sequence[RatioCheck], gains: Mapping[str, Gain], loads: CarLoads) -> Iterator[Evidence]:
    for end in ENDS:
        mine = [g for g in gains.values() if (g.sensor.source, g.sensor.axle, g.clean) == ("damper", end, True)]
        launch = Quantity(fmean(g.value for g in mine), max(g.u for g in mine), "measured") if mine else None
        check = next((one for one in checks if one.axle == end), None)
        if loads.springs[end] is not None and (launch or check):
            yield Evidence(end, entered_ratio(loads.axle(end)).value, launch, check)


def _text(one: Evidence) -> str:
    told = []
    if one.launch is not None:
        told.append(
            f"in launches the {one.axle} dampers move {one.launch.value:.2f} times as much as load transfer and the "
            f"entries ask for, where a ratio upside down would make it {one.ratio**2:.2f}"
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


def _misfit(measured: Quantity, of: Quantity) -> float:
    return (measured.value - of.value) ** 2 / (measured.u**2 + of.u**2)
