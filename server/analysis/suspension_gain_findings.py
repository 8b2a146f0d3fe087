"""What is said, and which sensors are left out, where movement and expected movement do not agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import fmean

from server.analysis.suspension_gains import Gain, exchanged, gain_of
from server.analysis.suspension_response import Response
from server.analysis.suspension_sensors import CarLoads, entered_ratio, sensor_of
from server.analysis.suspension_words import called, runs_called
from server.testday.values import Finding

WRONG_SCALE = 2.0
DOUBTFUL = 1.25
ALIKE = 1.25  # both sides of an axle off by the same factor: the axle's entries, not a sensor
ANOTHER_UNIT = 4.0


def gains_of(responses: Mapping[str, Sequence[Response]], loads: CarLoads) -> dict[str, Gain]:
    """Role → gain, of the sensors whose gain anything tells."""
    gains = {}
    for role, mine in responses.items():
        sensor = sensor_of(role)
        gain = gain_of(sensor, mine, loads) if sensor else None
        if gain is not None:
            gains[role] = gain
    return gains


def gain_findings(
    responses: Mapping[str, Sequence[Response]], loads: CarLoads, logged: Mapping[str, Sequence[int]]
) -> tuple[list[Finding], frozenset[str]]:
    """Findings and the roles that must not be used. responses, logged: by role."""
    gains = gains_of(responses, loads)
    turned = exchanged(gains)
    findings = [_exchanged(source) for source in sorted(turned)]
    wrong = {role for role, gain in gains.items() if gain.sensor.source in turned}
    rest = {role: gain for role, gain in gains.items() if role not in wrong}
    for role, gain in rest.items():
        when = runs_called([r.run for r in responses[role]], logged[role])
        if gain.reversed:
            findings.append(_reversed(gain, when))
            wrong.add(role)
        elif gain.beyond(WRONG_SCALE):
            findings.append(_implausible(gain, when))
            wrong.add(role)
    return findings + _doubtful({k: g for k, g in rest.items() if k not in wrong}, loads), frozenset(wrong)


def _exchanged(source: str) -> Finding:
    names = {"damper": "dampers", "ride height": "ride-height sensors", "push rod": "push rods"}[source]
    text = (
        f"In launches and under braking the front {names} move as the rear ones should and the rear ones as the front "
        "ones should: front and rear are exchanged, or all their signs are. None of them is used; mend the roles."
    )
    return Finding("ends-exchanged", "check", text)


def _reversed(gain: Gain, when: str) -> Finding:
    sensor = gain.sensor
    good = (
        "ride height, positive upwards" if sensor.source == "ride height" else "positive when the wheel is pressed up"
    )
    text = (
        f"{called(sensor)} moves the wrong way under acceleration and braking {when} ({gain.value:.2f} times what load "
        f"transfer asks for): its sign is reversed and it is not used. It must read {good}."
    )
    return Finding("sign-reversed", "check", text)


def _implausible(gain: Gain, when: str) -> Finding:
    value = abs(gain.value)
    text = (
        f"{called(gain.sensor)} moves {gain.value:.2g} times as much under acceleration as load transfer and the "
        f"entered rates ask for {when}: it is not used."
    )
    if value > ANOTHER_UNIT or value < 1.0 / ANOTHER_UNIT:
        text += " It looks like volts or another unit taken as it stands; give a calibration."
    else:
        text += " Look at its calibration, the spring rate and the motion ratio."
    return Finding("travel-implausible", "check", text)


def _doubtful(gains: Mapping[str, Gain], loads: CarLoads) -> list[Finding]:
    """Movements off by a quarter or more but less than twice: said, still used."""
    findings = []
    for source, end in dict.fromkeys((g.sensor.source, g.sensor.axle) for g in gains.values()):
        mine = [g for g in gains.values() if (g.sensor.source, g.sensor.axle) == (source, end)]
        if max(g.value for g in mine) < ALIKE * min(g.value for g in mine):
            both = replace(mine[0], value=fmean(g.value for g in mine), u=max(g.u for g in mine))
            if both.beyond(DOUBTFUL):
                findings.append(_axle_off(both, loads))
        else:
            findings += [_one_off(g) for g in mine if g.beyond(DOUBTFUL)]
    return findings


def _axle_off(both: Gain, loads: CarLoads) -> Finding:
    """Both sides alike: an entry of the axle is wrong."""
    value, sensor = both.value, both.sensor
    ratio = entered_ratio(loads.axle(sensor.axle)).value
    names = {"damper": "dampers move", "ride height": "ride height moves", "push rod": "push rods take"}[sensor.source]
    text = (
        f"The {sensor.axle} {names} {value:.2f} times as much under acceleration as load transfer and the entries "
        "ask for. "
    )
    if sensor.source == "push rod":
        return Finding("travel-implausible", "check", f"{text}Look at pushrod_ratio and the calibration; still used.")
    fits = abs(value - ratio**2) < 2.5 * both.u < abs(1.0 - ratio**2)
    if sensor.source == "damper" and fits:
        text += (
            f"A motion ratio of {1.0 / ratio:.3g} instead of {ratio:.3g} would make it {value / ratio**2:.2f}: it "
            "may be entered upside down (damper travel over wheel travel is meant). Still used."
        )
        return Finding("motion-ratio-doubtful", "check", text)
    text += f"Look at spring_rate_n_per_mm and motion_ratio ({ratio:.3g}) of [car.{sensor.axle}]; still used."
    return Finding("motion-ratio-doubtful", "check", text)


def _one_off(gain: Gain) -> Finding:
    text = (
        f"{called(gain.sensor)} moves {gain.value:.2f} times as much under acceleration as load transfer and the "
        "entered rates ask for; still used. Look at its calibration."
    )
    return Finding("travel-implausible", "check", text)
