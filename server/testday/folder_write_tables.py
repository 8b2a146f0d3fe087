"""The tables of a `Day` as key = value pairs in the units of the folder."""

from __future__ import annotations

from collections.abc import Sequence

from server.testday import folder_keys as keys
from server.testday.defaults import MISSING, missing_c1
from server.testday.folder_keys import Key
from server.testday.folder_numbers import SOURCES
from server.testday.folder_write_toml import Pairs, Value, clock_value
from server.testday.quantities import difference_from_si, from_si
from server.testday.values import (
    Axle,
    Calibration,
    Car,
    LogFile,
    PassEdit,
    Quantity,
    Run,
    Setup,
    Venue,
    WeatherReading,
)


def quantities(*entries: tuple[Key, Quantity | None, Quantity | None]) -> Pairs:
    """Return value and uncertainty of each (key, quantity, default); one equal to its default is left out.

    A source other than "typed" stands in the table's `sources`.
    """
    pairs: Pairs = {}
    sources: dict[str, Value] = {}
    for key, given, default in entries:
        if given is None or given == default:
            continue
        pairs[key.name] = from_si(given.value, key.unit)
        pairs[key.u_name] = difference_from_si(given.u, key.unit)
        if given.source != "typed":
            sources[key.name] = given.source
    pairs[SOURCES] = sources or None
    return pairs


def number(key: Key, value: float | None) -> Pairs:
    """Return one plain number."""
    return {key.name: None if value is None else from_si(value, key.unit)}


def pairs_value(first: Key, second: Key, table: Sequence[tuple[float, float]]) -> Value | None:
    """Return a table of pairs as a list of lists, or None where it is empty."""
    return [[from_si(a, first.unit), from_si(b, second.unit)] for a, b in table] or None


def venue_pairs(venue: Venue, elevation_file: str) -> Pairs:
    """Return [venue]."""
    return {
        "name": venue.name or None,
        **number(keys.HEADING, venue.heading_rad),
        **number(keys.LENGTH, venue.length_m),
        **quantities((keys.GRADE, venue.grade, None)),
        "elevation": elevation_file if venue.elevation else None,
        **number(keys.ALTITUDE, venue.altitude_m),
    }


def car_pairs(car: Car, driven_given: bool) -> Pairs:
    """Return [car]."""
    corners = car.corner_mass_kg
    return {
        "name": car.name or None,
        "driven": car.driven if driven_given else None,
        "corner_mass_kg": None if corners is None else [from_si(mass, "kg") for mass in corners],
        **quantities(
            (keys.MASS, car.mass_kg, None),
            (keys.WHEELBASE, car.wheelbase_m, MISSING["wheelbase_m"]),
            (keys.FRONT_WEIGHT, car.front_weight, MISSING["front_weight"] if corners is None else None),
            (keys.CG_HEIGHT, car.cg_height_m, MISSING["cg_height_m"]),
            (keys.DRIVELINE_DRAG, car.driveline_drag_n, MISSING["driveline_drag_n"]),
            (
                keys.DRIVELINE_DRAG_PER_SPEED,
                car.driveline_drag_n_per_mps,
                MISSING["driveline_drag_n_per_mps"],
            ),
            (keys.ROLLING_C0, car.rolling_c0, MISSING["rolling_c0"]),
            (keys.ROLLING_C1, car.rolling_c1_s_per_m, missing_c1(car.rolling_c0)),
            (keys.ANTI_SQUAT, car.anti_squat, MISSING["anti_squat"]),
        ),
    }


def axle_pairs(axle: Axle) -> Pairs:
    """Return [car.front] or [car.rear]."""
    return {
        **quantities(
            (keys.AXLE_INERTIA, axle.axle_inertia_kgm2, MISSING["axle_inertia_kgm2"]),
            (keys.TYRE_RADIUS, axle.tyre_radius_m, MISSING["tyre_radius_m"]),
            (keys.SPRING_RATE, axle.spring_rate_n_per_m, None),
            (keys.MOTION_RATIO, axle.motion_ratio, None),
            (keys.TYRE_RATE, axle.tyre_rate_n_per_m, MISSING["tyre_rate_n_per_m"]),
            (keys.SENSOR_X, axle.ride_height_sensor_x_m, MISSING["ride_height_sensor_x_m"]),
            (keys.JOINT_FRICTION, axle.joint_friction_n, MISSING["joint_friction_n"]),
            (keys.PUSHROD_RATIO, axle.pushrod_ratio, None),
        ),
        "motion_ratio_table": pairs_value(keys.TRAVEL, keys.MOTION_RATIO, axle.motion_ratio_table),
        **number(keys.WHEEL_RATE_REL_U, axle.wheel_rate_rel_u),
        "heave_table": pairs_value(keys.TRAVEL, keys.AXLE_FORCE, axle.heave_table),
    }


def calibration_pairs(calibration: Calibration) -> Pairs:
    """Return [calibration.ROLE]."""
    needed = calibration.gain is None and not calibration.table
    offset = calibration.offset if calibration.offset or needed else None
    return {
        **number(keys.GAIN, calibration.gain),
        **number(keys.GAIN_REL_U, calibration.gain_rel_u),
        **number(keys.OFFSET, offset),
        "table": pairs_value(keys.READING, keys.READING, calibration.table),
        "unit": calibration.unit or None,
    }


def weather_pairs(reading: WeatherReading, humidity_default: Quantity | None) -> Pairs:
    """Return one [[weather]]."""
    return {
        "time": clock_value(reading.clock_s),
        **quantities(
            (keys.PRESSURE, reading.pressure_pa, None),
            (keys.TEMPERATURE, reading.temperature_k, None),
            (keys.HUMIDITY, reading.humidity, humidity_default),
            (keys.WIND_SPEED, reading.wind_speed_mps, None),
            (keys.WIND_FROM, reading.wind_from_rad, None),
        ),
        **number(keys.GUST, reading.gust_mps),
        "surface": reading.surface,
    }


def setup_pairs(setup: Setup) -> Pairs:
    """Return one [[setups]]."""
    front, rear = keys.RIDE_HEIGHTS
    scz_front, scz_rear = keys.SCZ
    parts: dict[str, Value] = {
        name: from_si(part, "") if isinstance(part, float) else part
        for name, part in sorted(setup.parts.items())
    }
    return {
        "name": setup.name,
        "baseline": setup.baseline,
        **number(front, setup.front_ride_height_m),
        **number(rear, setup.rear_ride_height_m),
        "parts": parts or None,
        **quantities(
            (scz_front, setup.scz_front_m2, None),
            (scz_rear, setup.scz_rear_m2, None),
            (keys.BALLAST, setup.ballast_kg, None),
        ),
        "notes": setup.notes or None,
    }


def run_pairs(run: Run) -> Pairs:
    """Return one [[runs]] without its channels and passes."""
    logs: Pairs = (
        log_pairs("log", run.logs[0])
        if len(run.logs) == 1
        else {"logs": [_without_none(log_pairs("file", log)) for log in run.logs]}
    )
    cold, hot = keys.TYRE_PRESSURES
    return {
        "number": run.number,
        "setup": run.setup,
        **logs,
        "start": clock_value(run.start_clock_s),
        "coasting": None if run.coasting == "unknown" else run.coasting,
        "direction": run.direction,
        **quantities((keys.DRIVER_MASS, run.driver_mass_kg, MISSING["driver_mass_kg"])),
        "notes": run.notes or None,
        "driver": run.driver or None,
        "remarks": run.remarks or None,
        cold.name: _pressures(cold, run.tyre_cold_pa),
        hot.name: _pressures(hot, run.tyre_hot_pa),
    }


def _pressures(key: Key, pressures: Sequence[float | None]) -> Value | None:
    """Return a pressure for each corner, an empty text for one that was not read."""
    return ["" if pressure is None else from_si(pressure, key.unit) for pressure in pressures] or None


def log_pairs(key: str, log: LogFile) -> Pairs:
    """Return a log's file, the database of its signals, clock offset and cuts."""
    return {
        key: log.file,
        "signals": log.signals,
        **number(keys.CLOCK_OFFSET, log.clock_offset_s or None),
        **number(keys.FROM, log.from_s),
        **number(keys.TO, log.to_s),
    }


def pass_pairs(edit: PassEdit) -> Pairs:
    """Return one [[runs.passes]]."""
    return {
        **number(keys.START, edit.start_s),
        **number(keys.END, edit.end_s),
        "used": edit.used,
        "reason": edit.reason or None,
    }


def _without_none(pairs: Pairs) -> dict[str, Value]:
    return {key: value for key, value in pairs.items() if value is not None}
