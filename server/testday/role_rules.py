"""Words of a name that mean a role, as rules with a confidence.

The confidences are a judgement (common practice, no source); what counts is their order.
"""

from __future__ import annotations

from dataclasses import dataclass

from server.testday.role_table import CORNERS


@dataclass(frozen=True, slots=True)
class Rule:
    """A role is meant where all words stand in the name, none of `but`."""

    role: str
    words: frozenset[str]
    confidence: float
    but: frozenset[str] = frozenset()


def _rule(role: str, words: str, confidence: float, but: str = "") -> Rule:
    return Rule(role, frozenset(words.split()), confidence, frozenset(but.split()))


_NO_CAR_SPEED = (
    "wheel motor air fl fr rl rr front rear left right sog throttle rpm yaw steering tyre gear accel damper"
)
RULES: tuple[Rule, ...] = (
    _rule("gps_speed", "gps speed", 0.95, "lat lon heading altitude air wheel motor accel"),
    _rule("gps_speed", "sog", 0.9),
    _rule("gps_speed", "ground speed", 0.7, _NO_CAR_SPEED),
    _rule("vehicle_speed", "vehicle speed", 0.95, f"gps ground {_NO_CAR_SPEED}"),
    _rule("vehicle_speed", "speed", 0.85, f"gps ground vehicle {_NO_CAR_SPEED}"),
    _rule("vehicle_speed", "wheel speed", 0.6, "fl fr rl rr front rear left right gps motor"),
    *(
        _rule(f"wheel_speed_{corner}", f"{words} {corner}", confidence, but)
        for corner in CORNERS
        for words, confidence, but in (
            ("wheel speed", 0.95, "air"),
            ("wheel rpm", 0.93, ""),
            ("speed", 0.85, "wheel air damper motor"),
            ("wheel", 0.6, "speed rpm damper load height tyre pressure temperature rate"),
        )
    ),
    _rule("wheel_speed_fl", "wheel speed front", 0.7),
    _rule("wheel_speed_rl", "wheel speed rear", 0.7),
    _rule("wheel_speed_fl", "speed front", 0.65, "wheel air damper motor"),
    _rule("wheel_speed_rl", "speed rear", 0.65, "wheel air damper motor"),
    _rule("latitude", "lat", 0.9, "accel speed yaw rate"),
    _rule("longitude", "lon", 0.9, "accel speed yaw rate"),
    _rule("longitude", "gps long", 0.9, "accel speed"),
    _rule("longitude", "long", 0.7, "accel speed gps rate"),
    _rule("altitude", "altitude", 0.9, "speed"),
    _rule("altitude", "gps height", 0.85, "speed ride"),
    _rule("heading", "heading", 0.9, "rate"),
    _rule("throttle", "throttle", 0.9, "rate"),
    _rule("throttle", "accel pedal", 0.9, "brake clutch"),
    _rule("brake_pressure", "brake pressure", 0.9, "rear front"),
    _rule("brake_pressure", "brake pressure front", 0.9),
    _rule("brake_pressure", "brake pressure rear", 0.75),
    _rule("brake_pressure", "brake", 0.6, "pressure temperature rear pedal position"),
    _rule("brake_pressure", "brake rear", 0.5, "pressure temperature pedal"),
    _rule("steering_angle", "steering angle", 0.9, "rate torque speed"),
    _rule("steering_angle", "steering", 0.85, "torque rate load pressure speed"),
    *(
        _rule(f"accel_{axis}", f"accel {word}", confidence, "pedal throttle yaw")
        for axis, word, confidence in (
            *(("long", "longitudinal", 0.95), ("long", "long", 0.92), ("long", "lon", 0.9)),
            *(("lat", "lateral", 0.95), ("lat", "lat", 0.92)),
        )
    ),
    _rule("yaw_rate", "yaw rate", 0.95, "air"),
    _rule("yaw_rate", "rate z", 0.85, "accel"),
    _rule("yaw_rate", "yaw", 0.6, "rate air angle"),
    *(
        _rule(f"{stem}_{corner}", f"{words} {corner}", confidence, but)
        for corner in CORNERS
        for stem, words, confidence, but in (
            ("damper", "damper", 0.9, "load speed temperature"),
            ("ride_height", "ride height", 0.95, "speed"),
            ("ride_height", "ride", 0.7, "height speed"),
            ("pushrod_load", "pushrod rod load", 0.95, ""),
            ("pushrod_load", "pushrod load", 0.93, "rod"),
            ("pushrod_load", "pushrod", 0.75, "load"),
            ("tyre_temperature", "tyre temperature", 0.95, "brake"),
            ("tyre_pressure", "tyre pressure", 0.95, "brake"),
        )
    ),
    *(
        _rule(f"ride_height_{end}", words, confidence, "fl fr rl rr left right speed")
        for end in ("front", "rear")
        for words, confidence in ((f"ride height {end}", 0.95), (f"ride {end}", 0.75))
    ),
    _rule("airspeed", "air speed", 0.95),
    _rule("air_yaw", "air yaw", 0.95, "rate"),
    _rule("motor_torque", "motor torque", 0.95),
    _rule("motor_torque", "torque", 0.6, "motor steering wheel fl fr rl rr"),
    _rule("motor_speed", "motor speed", 0.95, "wheel"),
    _rule("motor_speed", "motor rpm", 0.95, "wheel"),
    _rule("motor_speed", "rpm", 0.85, "motor wheel fl fr rl rr front rear"),
    _rule("clutch", "clutch", 0.9, "temperature pressure"),
    _rule("gear", "gear", 0.9, "speed temperature pressure"),
)
