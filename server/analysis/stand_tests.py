"""Tests of the standing car brought into the day: driveline drag by spin-downs, wheel rates by known masses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.aero.suspension import series_rate
from server.analysis.axle_loading import AxleRate, axle_rate
from server.analysis.axle_spring import AxleSpring, axle_springs, motion_ratio, wheel_rate_rel_u
from server.analysis.result import AxleEnd, Estimate, StandTest
from server.analysis.spin_down import DrivelineDrag, driveline_drag
from server.testday.rounding import with_uncertainty
from server.testday.values import Axle, Car, Day, Finding, FloatArray, Quantity, Recording, Source

DISAGREE_Z = 2.5
NORMAL_95 = 1.959964
DRIVER_KG = 75.0
DRAG_SPEEDS_MPS = np.linspace(5.0, 40.0, 36)  # where the drag's u must hold though T0 and T1 are held independent


def apply_stand_tests(day: Day) -> tuple[Day, tuple[StandTest, ...], list[Finding]]:
    """Return the day with what its stand tests say in its car, each test against what was entered, findings.

    A default gives way to a measurement; an entered value is combined with it, weighted by their u; one that
    disagrees by more than 2.5 joint u gives way too, with a finding. A day without stand tests comes back as it is.
    """
    recordings = [test.recording for test in day.spin_downs] + [test.recording for test in day.axle_loadings]
    findings = _of_logs([recording for recording in recordings if recording is not None])
    car, tests, said = _with_driveline(day)
    findings += said
    for end in ("front", "rear"):
        car, more, said = _with_rate(day, car, end)
        tests += more
        findings += said
    return (replace(day, car=car) if tests else day), tuple(tests), list(dict.fromkeys(findings))


def _of_logs(recordings: Sequence[Recording]) -> list[Finding]:
    return [finding for recording in recordings for finding in recording.findings if finding.grade != "note"]


def _with_driveline(day: Day) -> tuple[Car, list[StandTest], list[Finding]]:
    drag, findings = driveline_drag(day.spin_downs, day.car)
    if drag is None:
        return day.car, [], findings
    entered = (day.car.driveline_drag_n, day.car.driveline_drag_n_per_mps)
    tests = _driveline_tests(drag, entered)
    worst = max((test for test in tests if test.z is not None), key=lambda test: abs(test.z or 0.0), default=None)
    disagree = worst is not None and abs(worst.z or 0.0) > DISAGREE_Z
    if disagree and worst is not None:
        findings.append(Finding("driveline-drag-disagrees", "check", f"{worst.text} The measured one is used."))
    mean, u = combined_driveline(drag, entered, trust_entered=not disagree)
    t0, t1 = (Quantity(float(m), float(s), "measured") for m, s in zip(mean, u, strict=True))
    return replace(day.car, driveline_drag_n=t0, driveline_drag_n_per_mps=t1), tests, findings


def combined_driveline(
    drag: DrivelineDrag, entered: tuple[Quantity, Quantity], *, trust_entered: bool = True
) -> tuple[FloatArray, FloatArray]:
    """T0 and T1 of spin-downs and entered values together: means (2,) and u (2,) that may be held independent.

    Entered values count by their u; a default counts only where the spin-downs know the part worse than it does.
    The inertia's u moves T0 and T1 together, so that independent u would be too small for their sum: both are
    widened until u²(T0) + v² u²(T1) covers Var(T0 + T1 v) at every speed v of interest.
    """
    precision = np.linalg.inv(drag.covariance)
    known = np.zeros(2)
    for k, quantity in enumerate(entered):
        counts = quantity.u**2 < drag.covariance[k, k] if quantity.source == "default" else trust_entered
        known[k] = 1.0 / max(quantity.u, 1e-9) ** 2 if counts else 0.0
    covariance = np.linalg.inv(precision + np.diag(known))
    mean = covariance @ (precision @ drag.mean + known * [quantity.value for quantity in entered])
    v = DRAG_SPEEDS_MPS
    apart = covariance[0, 0] + v**2 * covariance[1, 1]
    together = apart + 2.0 * v * covariance[0, 1]
    widening = max(1.0, float(np.max(together / apart)))
    return np.asarray(mean), np.sqrt(widening * np.diag(covariance))


def _driveline_tests(drag: DrivelineDrag, entered: tuple[Quantity, Quantity]) -> list[StandTest]:
    """T0, T1 and the drag in the middle of the speeds run through, which is known best."""
    middle = 0.5 * (drag.low_mps + drag.high_mps)
    lever = np.array([1.0, middle])
    force = _normal(float(lever @ drag.mean), float(np.sqrt(lever @ drag.covariance @ lever)), "N", "measured")
    given = [None if quantity.source == "default" else quantity for quantity in entered]
    at_middle = None
    if given[0] is not None and given[1] is not None:
        u = float(np.hypot(given[0].u, middle * given[1].u))
        at_middle = Quantity(given[0].value + middle * given[1].value, u, given[0].source)
    told = f"{drag.used} spin-down{'s' if drag.used > 1 else ''} from {drag.high_mps:.0f} to {drag.low_mps:.0f} m/s"
    return [
        _test(name, measured, value, told, " The wheels' own windage is in it.")
        for name, measured, value in (
            ("driveline drag T0", drag.t0_n, given[0]),
            ("driveline drag T1", drag.t1_n_per_mps, given[1]),
            (f"driveline drag at {middle:.0f} m/s", force, at_middle),
        )
    ]


def _with_rate(day: Day, car: Car, end: AxleEnd) -> tuple[Car, list[StandTest], list[Finding]]:
    if not any(loading.axle == end for loading in day.axle_loadings):
        return car, [], []
    driver = float(np.mean([run.driver_mass_kg.value for run in day.runs])) if day.runs else DRIVER_KG
    spring, axle = axle_springs(day.car, driver)[end], getattr(car, end)
    rate, findings = axle_rate(day.axle_loadings, day.car, end, spring)
    if rate is None:
        return car, [], findings
    tests = _rate_tests(rate, axle, spring)
    z = tests[0].z
    disagree = z is not None and abs(z) > DISAGREE_Z
    if disagree:
        text = f"{tests[0].text} The measured one is used; look at spring, motion ratio, calibration and sensor."
        findings.append(Finding("wheel-rate-disagrees", "check", text))
    changed = with_measured_rate(axle, rate, trust_entered=not disagree)
    return (replace(car, front=changed) if end == "front" else replace(car, rear=changed)), tests, findings


def with_measured_rate(axle: Axle, rate: AxleRate, *, trust_entered: bool = True) -> Axle:
    """Return the axle with springs scaled to the wheel rate of entered and measured together, and that rate's u.

    Heave springs and bump stops are scaled alike. Where no spring was entered, the corner springs take it all.
    """
    if rate.scale is None or rate.scale_u is None:
        ratio = float(motion_ratio(axle, np.zeros(1))[0])
        k = 0.5 * rate.rate_n_per_m / ratio**2
        measured = Quantity(k, k * rate.u / rate.rate_n_per_m, "measured")
        return replace(axle, spring_rate_n_per_m=measured, wheel_rate_rel_u=rate.u / rate.rate_n_per_m)
    weights = np.array([1.0 / wheel_rate_rel_u(axle) ** 2 if trust_entered else 0.0, 1.0 / rate.scale_u**2])
    scale = float(weights @ [1.0, rate.scale] / weights.sum())
    rel_u = float(1.0 / np.sqrt(weights.sum())) / scale
    spring = axle.spring_rate_n_per_m
    if spring is not None:
        k = spring.value * scale
        spring = Quantity(k, k * rel_u, "measured")
    heave = tuple((travel, force * scale) for travel, force in axle.heave_table)
    return replace(axle, spring_rate_n_per_m=spring, heave_table=heave, wheel_rate_rel_u=rel_u)


def _rate_tests(rate: AxleRate, axle: Axle, spring: AxleSpring | None) -> list[StandTest]:
    times = "once" if rate.used == 1 else f"{rate.used} times"
    told = f"{rate.load_n:.0f} N put on {times}, travel by {rate.travel_from}"
    measured = _normal(rate.rate_n_per_m, rate.u, "N/m", "measured")
    tests = []
    if rate.scale is None or rate.scale_u is None or spring is None:
        tests.append(_test(f"{rate.axle} axle rate at the wheels", measured, None, told))
    else:
        value, rel_u = rate.rate_n_per_m / rate.scale, wheel_rate_rel_u(axle)
        source: Source = axle.spring_rate_n_per_m.source if axle.spring_rate_n_per_m is not None else "typed"
        entered = Quantity(value, value * rel_u, source)
        tests.append(_test(f"{rate.axle} axle rate at the wheels", measured, entered, told))
    if rate.ride_rate_n_per_m is not None and rate.ride_u is not None:
        ride = _normal(rate.ride_rate_n_per_m, rate.ride_u, "N/m", "measured")
        tests.append(_test(f"{rate.axle} ride rate", ride, _entered_ride(axle, rate, spring), told))
    return tests


def _entered_ride(axle: Axle, rate: AxleRate, spring: AxleSpring | None) -> Quantity | None:
    """Ride rate of the springs and tyres as entered: 1/K = 1/K_wheel + 1/K_tyre."""
    if spring is None or rate.scale is None:
        return None
    wheel, tyre = rate.rate_n_per_m / rate.scale, 2.0 * axle.tyre_rate_n_per_m.value
    ride = float(series_rate(wheel, tyre))
    tyre_u = axle.tyre_rate_n_per_m.u / axle.tyre_rate_n_per_m.value
    rel_u = float(np.hypot(ride / wheel * wheel_rate_rel_u(axle), ride / tyre * tyre_u))
    return Quantity(ride, ride * rel_u, "typed")


def _test(name: str, measured: Estimate, entered: Quantity | None, told: str, more: str = "") -> StandTest:
    unit = measured.unit
    text = f"{name[0].upper()}{name[1:]}: {_shown(measured)} measured ({told})"
    if entered is None:
        return StandTest(name, measured, None, None, f"{text}; nothing was entered.{more}")
    joint = float(np.hypot(measured.u, entered.u))
    z = (measured.value - entered.value) / joint if joint > 0 else 0.0
    against = _normal(entered.value, entered.u, unit, entered.source)
    text = f"{text}, {_shown(against)} entered: {abs(z):.1f} joint u apart.{more}"
    return StandTest(name, measured, against, float(z), text)


def _shown(one: Estimate) -> str:
    """Value ± U95, a rate in the unit that springs are sold by."""
    scale, unit = (1e-3, "N/mm") if one.unit == "N/m" else (1.0, one.unit)
    return with_uncertainty(scale * one.value, scale * one.u95, unit)


def _normal(value: float, u: float, unit: str, source: Source) -> Estimate:
    return Estimate(value, u, value - NORMAL_95 * u, value + NORMAL_95 * u, unit, source)
