"""All that the pass finder knows of a run before it judges."""

from __future__ import annotations

from dataclasses import dataclass

from server.analysis.candidates import engaged_when
from server.analysis.coasting_band import CoastingBand, coasting_band
from server.analysis.driver import Driver, driver_of
from server.analysis.intervals import Intervals, no_intervals
from server.analysis.pass_options import PassOptions
from server.analysis.speed_pick import SpeedSource, best_signals
from server.analysis.speed_series import SpeedSeries, speed_series
from server.analysis.turning import turns
from server.testday.values import Car, Run


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A run's speed, driver, turns, when its driveline braked it, and what coasting can look like."""

    run: Run
    series: SpeedSeries
    driver: Driver
    turning: Intervals
    engaged: Intervals
    band: CoastingBand
    options: PassOptions

    @property
    def inferred(self) -> bool:
        """Whether drive or brake can only be taken from the speed."""
        return not self.driver.drive_seen or self.driver.brake is None

    @property
    def driveline_told(self) -> bool:
        """Whether a channel or the run sheet says that the driveline was free."""
        told = self.driver.free is not None or self.driver.regenerating is not None
        return told or self.run.coasting not in ("unknown", "in-gear")


def set_scene(run: Run, car: Car, source: SpeedSource, options: PassOptions) -> Scene:
    """Read the run's channels."""
    series = speed_series(source.signal, options.max_gap_s)
    signals = best_signals(run)
    driver = driver_of(signals, options, run.number)
    turning = turns(signals, series, options)
    return Scene(
        run,
        series,
        driver,
        no_intervals() if turning is None else turning,
        engaged_when(driver, run.coasting),
        coasting_band(run, car, options),
        options,
    )
