"""Parts of the plan of a simulated day: wind, tyres, instruments, driver."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from server.testday.values import Quantity

LIFT_SPEED_MPS = 20.0


@dataclass(frozen=True, slots=True)
class WindPlan:
    """The wind: a mean vector, a slow Ornstein–Uhlenbeck change of it over the day, and a gust.

    head_out_mps: mean head wind when travelling out; cross_mps: mean wind from the right when travelling out.
    slow_sd_mps, slow_time_s: the slow part, alike in both directions.
    gust_sd_mps, gust_time_s: the gust along the straight as a parked car would meet it; with a finite
    gust_length_m a moving car meets it faster, rate = 1/gust_time + U/gust_length.
    cross_gust_ratio: standard deviation of the gust across the straight over the one along it.
    """

    head_out_mps: Quantity = field(default=Quantity(0.0, 1.0))
    cross_mps: Quantity = field(default=Quantity(0.0, 1.0))
    slow_sd_mps: float = 0.3
    slow_time_s: float = 900.0
    gust_sd_mps: Quantity = field(default=Quantity(0.4, 0.1))
    gust_time_s: Quantity = field(default=Quantity(6.0, 1.5))
    gust_length_m: float = math.inf
    cross_gust_ratio: float = 0.8


@dataclass(frozen=True, slots=True)
class TyrePlan:
    """What the tyres do besides c0 and c1: scatter of c0 from pass to pass, warm-up, growth.

    c0 of a cold tyre is higher by the share `warm_up_rel`; warmth comes with `heating_s` of driving
    and goes with `cooling_s` of standing. lift_m: how far the tyres' growth lifts the body at `LIFT_SPEED_MPS`.
    """

    pass_scatter_rel: float = 0.02
    warm_up_rel: float = 0.04
    heating_s: float = 300.0
    cooling_s: float = 1200.0
    lift_m: Quantity = field(default=Quantity(0.0004, 0.0002))


@dataclass(frozen=True, slots=True)
class InstrumentPlan:
    """Sensors and loggers. A rate of 0 leaves the sensor out.

    wheel_scale: radius the logger was told over the true one; wheel_growth_rel: growth of the rolling
    radius at 30 m/s; teeth: of the pulse wheel; pitch_error_rel: scatter of its tooth pitch; timer_s: tick of
    the clock that times the teeth; wheel_delay_s: how late the speed that it tells is. satellite_delay_s: the
    receiver's delay. colour: slow part of its noise.
    damper_noise_m, ride_height_noise_m, pushrod_noise_n: the road's roughness as one sensor sees it;
    damper_zero_u_m, ride_height_zero_u_m, pushrod_zero_u_n: how far its zero is off all day; zero_moves_rel: how
    far it moves from run to run, over that.
    suspension_lag_s: of springs and dampers behind a load.
    """

    wheel_rate_hz: float = 100.0
    wheel_scale: Quantity = field(default=Quantity(1.0, 0.01))
    wheel_growth_rel: Quantity = field(default=Quantity(0.004, 0.002))
    teeth: int = 48
    pitch_error_rel: float = 0.005
    timer_s: float = 2e-5
    wheel_delay_s: Quantity = field(default=Quantity(0.0, 0.0))
    satellite_rate_hz: float = 10.0
    satellite_noise_mps: float = 0.05
    satellite_colour_mps: float = 0.03
    satellite_colour_s: float = 4.0
    satellite_delay_s: Quantity = field(default=Quantity(0.12, 0.03))
    position_rate_hz: float = 10.0
    position_noise_m: float = 0.4
    pedal_rate_hz: float = 50.0
    damper_rate_hz: float = 0.0
    damper_noise_m: float = 3e-4
    damper_zero_u_m: float = 1e-3
    ride_height_rate_hz: float = 0.0
    ride_height_noise_m: float = 4e-4
    ride_height_zero_u_m: float = 2e-4
    pushrod_rate_hz: float = 0.0
    pushrod_noise_n: float = 15.0
    pushrod_zero_u_n: float = 30.0
    zero_moves_rel: float = 0.05
    suspension_lag_s: Quantity = field(default=Quantity(0.06, 0.02))


@dataclass(frozen=True, slots=True)
class DriverPlan:
    """How the car is driven between coast-downs.

    power_w, grip_mps2: limits of the acceleration; brake_mps2: stopping; turn_radius_m, turn_mps: the turn at
    each end; stand_s: standing before a pass; drive_back_mps: the slow drive to a turning mark;
    marks_m: (near, far) distance along 'out' at which the car turns; margin_m: kept free at both ends.
    """

    power_w: float = 45_000.0
    grip_mps2: float = 6.0
    brake_mps2: float = 6.0
    turn_radius_m: float = 5.0
    turn_mps: float = 2.5
    stand_s: float = 6.0
    drive_back_mps: float = 9.0
    marks_m: tuple[float, float] = (100.0, 520.0)
    margin_m: float = 20.0
