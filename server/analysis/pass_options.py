"""What counts as a pass: every threshold of the pass finder, its unit and meaning, shown beside a result."""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class PassOptions:
    """Thresholds of the pass finder; `OPTION_HELP` says what each one does.

    Names carry their units. Raises ValueError on a negative threshold.
    """

    zero_speed_mps: float = 0.3
    zero_min_s: float = 3.0
    zero_settle_s: float = 0.5
    min_speed_mps: float = 15.0 / 3.6
    min_length_s: float = 3.0
    min_span_mps: float = 1.0
    trim_after_lift_s: float = 1.0
    trim_before_end_s: float = 0.2
    trim_unseen_end_s: float = 0.3
    max_gap_s: float = 2.0
    report_length_s: float = 1.5
    throttle_closed: float = 0.05
    brake_released: float = 0.03
    torque_zero: float = 0.03
    turn_mps2: float = 1.0
    turn_steering_rad: float = 0.2
    max_resistance_ratio: float = 0.06
    max_drag_area_m2: float = 4.0
    min_resistance_ratio: float = 0.003
    min_drag_area_m2: float = 0.2
    steady_mps2: float = 0.1
    steady_min_s: float = 2.0

    def __post_init__(self) -> None:
        for each in fields(self):
            if not getattr(self, each.name) >= 0.0:
                raise ValueError(f"{each.name} must be 0 or more, got {getattr(self, each.name)}")


OPTION_HELP: dict[str, str] = {
    "zero_speed_mps": "Below this speed the car stands [m/s].",
    "zero_min_s": "A static zero lasts at least so long [s].",
    "zero_settle_s": "Left out at both ends of a static zero, while the car settles [s].",
    "min_speed_mps": "A pass ends where the car is slower than this [m/s]. The slowest window of the "
    "published procedures ends at 15 km/h (WLTP: 20 km/h reference speed less 5 km/h).",
    "min_length_s": "A pass lasts at least so long after trimming [s].",
    "min_span_mps": "A coast-down loses at least so much speed [m/s].",
    "trim_after_lift_s": "Left out after the lift, while the joints' friction turns round and the pitch settles [s].",
    "trim_before_end_s": "Left out before the brake, the throttle or a turn [s].",
    "trim_unseen_end_s": "Left out besides, where the end was seen in the speed alone [s].",
    "max_gap_s": "A longer hole in the speed ends a pass [s].",
    "report_length_s": "Shorter stretches without throttle and brake are not listed [s].",
    "throttle_closed": "Throttle below this share of its travel counts as closed [-].",
    "brake_released": "Brake pressure below this share of its range counts as released [-].",
    "torque_zero": "Motor torque within this share of its largest counts as none [-].",
    "turn_mps2": "More lateral acceleration than this is a turn [m/s²].",
    "turn_steering_rad": "A larger steering-wheel angle is a turn, where nothing else tells [rad].",
    "max_resistance_ratio": "More speed-independent resistance over weight than this is no tyre's [-].",
    "max_drag_area_m2": "More drag area than this is no car's [m²].",
    "min_resistance_ratio": "Least resistance over weight by which coasting is told from driving [-].",
    "min_drag_area_m2": "Least drag area by which coasting is told from driving [m²].",
    "steady_mps2": "Largest acceleration of a constant-speed pass [m/s²].",
    "steady_min_s": "A constant-speed pass lasts at least so long [s].",
}
