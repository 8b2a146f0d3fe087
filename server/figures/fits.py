"""Which fits of a setup a figure draws: coast-downs tell the speed, all passes tell loads."""

from __future__ import annotations

from collections.abc import Iterator

from server.analysis.result import AxleEnd, AxleLoadFit, DayResult, LoadSource, PassFit, SetupResult

AXLES: tuple[AxleEnd, AxleEnd] = ("front", "rear")
AXLE_WORDS = {"front": "front axle", "rear": "rear axle"}
KIND_WORDS = {"coast-down": "coast-down", "constant-speed": "constant speed", "zero": "static zero"}


def coast_fits(setup: SetupResult) -> list[PassFit]:
    """The setup's fitted coast-downs; a constant-speed pass has no resistance of its own."""
    return [fit for fit in setup.fits if fit.of.kind == "coast-down"]


def loads_of(setup: SetupResult, axle: AxleEnd, source: LoadSource) -> Iterator[tuple[PassFit, AxleLoadFit]]:
    """Each pass of the setup that tells this axle's load by this source."""
    for fit in setup.fits:
        for load in fit.loads:
            if load.axle == axle and load.source == source and load.load_n.size:
                yield fit, load


def load_sources(result: DayResult) -> list[LoadSource]:
    """Sources that some pass has loads by, in the day's order."""
    found = {load.source for setup in result.setups for fit in setup.fits for load in fit.loads if load.load_n.size}
    named = [source for source in result.load_sources if source in found]
    return named + sorted(found - set(named))


def chosen_source(result: DayResult, choice: str) -> LoadSource:
    """The source of that name, else the day's first; 'damper' of a day without any."""
    sources = load_sources(result)
    return next((source for source in sources if source == choice), sources[0] if sources else "damper")
