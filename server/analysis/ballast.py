"""Ballast of a setup, which rides with the driver: a run's mass is that of the car, its driver and its ballast."""

from __future__ import annotations

import math
from dataclasses import replace

from server.testday.values import Day, Quantity, Run


def with_ballast(day: Day) -> Day:
    """The day with every setup's ballast in the driver's mass of its runs, and no ballast beside it."""
    ballast = {setup.name: setup.ballast_kg for setup in day.setups if setup.ballast_kg is not None}
    if not ballast:
        return day
    runs = tuple(_heavier(run, ballast[run.setup]) if run.setup in ballast else run for run in day.runs)
    return replace(day, runs=runs, setups=tuple(replace(setup, ballast_kg=None) for setup in day.setups))


def _heavier(run: Run, ballast: Quantity) -> Run:
    driver = run.driver_mass_kg
    mass = Quantity(driver.value + ballast.value, math.hypot(driver.u, ballast.u), driver.source)
    return replace(run, driver_mass_kg=mass)
