"""Roles proposed from names and units, a person's word, and what is asked."""

import numpy as np
import pytest

from server.testday.role_words import concepts
from server.testday.roles import ROLE_NAMES, ROLES, assign, propose, remembered
from server.testday.values import Calibration, Channel, RawLog

TIME = np.arange(200) / 10


def log(*columns: tuple[str, str | None] | tuple[str, str | None, object]) -> RawLog:
    channels = []
    for place, (name, unit, *values) in enumerate(columns):
        data = np.asarray(values[0] if values else 10.0 + place + np.linspace(0, 1, 200), dtype=np.float64)
        channels.append(Channel(name, unit, TIME[: len(data)], data))
    return RawLog("a.csv", tuple(channels), "")


def first_role(name: str, unit: str | None) -> str | None:
    found = propose(log((name, unit)))
    return found[0].role if found and found[0].confidence >= 0.5 else None


@pytest.mark.parametrize(
    ("name", "unit", "role"),
    [
        ("GPS Speed", "km/h", "gps_speed"),
        ("GpsSpeed", None, "gps_speed"),
        ("v_gps", "m/s", "gps_speed"),
        ("gnssSpeed", "m/s", "gps_speed"),
        ("Vitesse GPS", "km/h", "gps_speed"),
        ("Geschwindigkeit_GPS", "km/h", "gps_speed"),
        ("SOG", "kn", "gps_speed"),
        ("Speed", "km/h", "vehicle_speed"),
        ("VehSpd", "km/h", "vehicle_speed"),
        ("Fahrzeuggeschwindigkeit", "km/h", "vehicle_speed"),
        ("Velocidade", "km/h", "vehicle_speed"),
        ("speed_kmh", None, "vehicle_speed"),
        ("WheelSpeedFL", "km/h", "wheel_speed_fl"),
        ("wheel_speed_fr", "m/s", "wheel_speed_fr"),
        ("WhlSpd_RL", "rpm", "wheel_speed_rl"),
        ("ABS_WSS_RR", "km/h", "wheel_speed_rr"),
        ("Wheel Speed Front Left", "km/h", "wheel_speed_fl"),
        ("Rear Right Wheel Speed", "km/h", "wheel_speed_rr"),
        ("wheelspeedrl", "rad/s", "wheel_speed_rl"),
        ("Raddrehzahl VL", "1/min", "wheel_speed_fl"),
        ("v_Rad_HR", "km/h", "wheel_speed_rr"),
        ("Wheel RPM FL", "rpm", "wheel_speed_fl"),
        ("Speed FR", "km/h", "wheel_speed_fr"),
        ("Wheel Speed Front", "km/h", "wheel_speed_fl"),
        ("LAT", None, "latitude"),
        ("GPS_Latitude", "deg", "latitude"),
        ("LON", "deg", "longitude"),
        ("GPS Long", "deg", "longitude"),
        ("Altitude", "m", "altitude"),
        ("GPS Height", "m", "altitude"),
        ("Heading", "deg", "heading"),
        ("Course over ground", "deg", "heading"),
        ("TPS", "%", "throttle"),
        ("Throttle Position", "%", "throttle"),
        ("AccelPedalPos", "%", "throttle"),
        ("Gaspedal", "%", "throttle"),
        ("Brake Pressure Front", "bar", "brake_pressure"),
        ("BrakePressF", "bar", "brake_pressure"),
        ("Bremsdruck", "bar", "brake_pressure"),
        ("Brake", "bar", "brake_pressure"),
        ("Steering Angle", "deg", "steering_angle"),
        ("Lenkwinkel", "°", "steering_angle"),
        ("Accel X", "g", "accel_long"),
        ("LongAcc", "g", "accel_long"),
        ("G Lat", "g", "accel_lat"),
        ("Ay", "m/s2", "accel_lat"),
        ("Yaw Rate", "deg/s", "yaw_rate"),
        ("Gyro Z", "dps", "yaw_rate"),
        ("Damper FL", "mm", "damper_fl"),
        ("SuspPotRR", "V", "damper_rr"),
        ("shock_pos_rl", "mm", "damper_rl"),
        ("Dämpfer VR", "mm", "damper_fr"),
        ("Ride Height Front", "mm", "ride_height_front"),
        ("RH_R", "mm", "ride_height_rear"),
        ("RideHeightFL", "mm", "ride_height_fl"),
        ("Pushrod Load FL", "N", "pushrod_load_fl"),
        ("PushRodStrainRR", "N", "pushrod_load_rr"),
        ("Airspeed", "m/s", "airspeed"),
        ("Pitot Speed", "m/s", "airspeed"),
        ("Air Yaw", "deg", "air_yaw"),
        ("Motor Torque", "Nm", "motor_torque"),
        ("Inverter_Torque_Actual", "Nm", "motor_torque"),
        ("Engine RPM", None, "motor_speed"),
        ("Motordrehzahl", "1/min", "motor_speed"),
        ("RPM", "rpm", "motor_speed"),
        ("Clutch", "%", "clutch"),
        ("Gear", None, "gear"),
        ("Mode", "gear", "gear"),
        ("Tyre Temp FL", "°C", "tyre_temperature_fl"),
        ("TirePressureRR", "bar", "tyre_pressure_rr"),
    ],
)
def test_names_as_students_write_them(name, unit, role):
    assert first_role(name, unit) == role


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("SpeedLimit", "km/h"),
        ("WindSpeedAv", "m/s"),
        ("GPS Speed Accuracy", "m/s"),
        ("Max Speed", "km/h"),
        ("Target Speed", "km/h"),
        ("Fan Speed", "rpm"),
        ("Temperature", "°C"),
        ("Oil Pressure", "bar"),
        ("Brake Temp FL", "°C"),
        ("Brake Switch", None),
        ("Speed", "V"),
        ("GPS Speed", "rpm"),
        ("Lap Distance", "m"),
        ("Throttle Request", "%"),
        ("Humidity", "%"),
        ("Soc", "%"),
        ("", None),
        ("Ω≈ç√", None),
        ("x" * 500, None),
        ("speed" * 300, "km/h"),
    ],
)
def test_names_of_no_role(name, unit):
    assert first_role(name, unit) is None


def test_positions_of_wheels_in_words():
    assert concepts("wheel speed f r") == ("wheel", "speed", "fr")
    assert concepts("damper_rear_left") == ("damper", "rl")
    assert concepts("Left Front Damper") == ("fl", "damper")


def test_confidence_falls_with_missing_units_and_strange_words():
    by_name = {
        p.channel.name: p.confidence for p in propose(log(("GPS Speed", "km/h"), ("GPS Speed b", None)))
    }
    assert 0.5 < by_name["GPS Speed b"] < by_name["GPS Speed"] <= 1.0


def test_signals_come_in_si():
    raw = log(
        ("GPS Speed", "km/h", np.full(200, 36.0)),
        ("Wheel Speed FL", "mph", np.full(200, 10.0)),
        ("Wheel RPM RR", "rpm", np.full(200, 60.0)),
        ("LAT", None, np.full(200, 90.0)),
        ("TPS", "%", np.full(200, 50.0)),
        ("Tyre Temp FL", "C", np.full(200, 20.0)),
        ("Gear", None, np.full(200, 3.0)),
        ("Heading", None, np.full(200, 180.0)),
    )
    out = assign(raw, {}, tyre_radius_m=(0.2, 0.25))
    assert not out.questions
    values = {role: float(signal.values[0]) for role, signal in out.signals.items()}
    assert values == pytest.approx(
        {
            "gps_speed": 10.0,
            "wheel_speed_fl": 4.4704,
            "wheel_speed_rr": 2 * np.pi * 0.25,
            "latitude": np.pi / 2,
            "throttle": 0.5,
            "tyre_temperature_fl": 293.15,
            "gear": 3.0,
            "heading": np.pi,
        }
    )


def test_a_share_without_a_unit_is_told_by_its_size():
    out = assign(log(("TPS", None, np.linspace(0, 100, 200)), ("Clutch", None, np.linspace(0, 1, 200))), {})
    assert out.signals["throttle"].values[-1] == pytest.approx(1.0)
    assert out.signals["clutch"].values[-1] == 1.0
    assert [f.code for f in out.findings] == ["unit-inferred", "unit-inferred"]


def test_two_candidates_are_asked_with_the_lines():
    out = assign(log(("GPS Speed 1", "km/h"), ("GPS Speed 2", "km/h")), {})
    assert "gps_speed" not in out.signals
    assert out.questions == [
        "a.csv: the satellite speed may be 'GPS Speed 1' or 'GPS Speed 2'; say which under [channels] in "
        'testday.toml: gps_speed = "GPS Speed 1" or gps_speed = "GPS Speed 2".'
    ]
    answered = assign(log(("GPS Speed 1", "km/h"), ("GPS Speed 2", "km/h")), {"gps_speed": "GPS Speed 2"})
    assert answered.signals["gps_speed"].name == "GPS Speed 2"
    assert not answered.questions


def test_copies_of_one_channel_are_no_two_candidates():
    same = np.linspace(0, 50, 200)
    out = assign(log(("Speed", "km/h", same), ("Speed (2)", "km/h", same)), {})
    assert out.signals["vehicle_speed"].name == "Speed"
    assert not out.questions


def test_candidates_for_what_is_not_needed_are_noted():
    out = assign(log(("Tyre Temp FL inner", "C"), ("Tyre Temp FL outer", "C")), {})
    assert not out.questions
    assert [f.code for f in out.findings] == ["role-unclear"]
    assert "tyre_temperature_fl = " in out.findings[0].text


def test_one_corner_sensor_beats_the_axles():
    out = assign(log(("Wheel Speed FL", "km/h"), ("Wheel Speed Front", "km/h")), {})
    assert out.signals["wheel_speed_fl"].name == "Wheel Speed FL"
    assert not out.questions


def test_front_brake_comes_before_rear():
    out = assign(log(("Brake Pressure Rear", "bar"), ("Brake Pressure Front", "bar")), {})
    assert out.signals["brake_pressure"].name == "Brake Pressure Front"


def test_a_speed_without_a_unit_is_asked():
    out = assign(log(("Speed", None, np.linspace(0, 80, 200))), {})
    assert out.questions == [
        "a.csv: 'Speed', taken for the car's own speed, has no unit (it runs from 0 to 80); say its unit "
        'under [channels] in testday.toml, for example: vehicle_speed = "Speed [km/h]".'
    ]
    answered = assign(log(("Speed", None, np.linspace(0, 80, 200))), {"vehicle_speed": "Speed [mph]"})
    assert answered.signals["vehicle_speed"].values[-1] == pytest.approx(80 * 0.44704)


def test_an_unknown_unit_is_asked_or_noted():
    out = assign(log(("GPS Speed", "furlong/h"), ("Damper FL", "zoll")), {})
    assert "is in 'furlong/h', which is no unit known here" in out.questions[0]
    assert [f.code for f in out.findings] == ["unit-unknown"]
    asked = assign(log(("Damper FL", "zoll")), {"damper_fl": "Damper FL"})
    assert "damper_fl = " in asked.questions[0]  # a person named it, so it must not be lost silently


def test_raw_readings_need_a_calibration():
    out = assign(log(("Damper FL", "V", np.full(200, 2.0))), {})
    assert [f.code for f in out.findings] == ["needs-calibration"]
    assert "[calibration.damper_fl]" in out.findings[0].text
    done = assign(
        log(("Damper FL", "V", np.full(200, 2.0))),
        {},
        calibration={"damper_fl": Calibration(25.0, -5.0, unit="mm/V")},
    )
    assert done.signals["damper_fl"].values[0] == pytest.approx(0.045)


def test_a_frequency_needs_its_gain():
    raw = log(("Wheel Speed FL", "Hz", np.full(200, 100.0)))
    assert (
        "is in Hz; add [calibration.wheel_speed_fl]" in assign(raw, {}, tyre_radius_m=(0.2, 0.2)).questions[0]
    )
    done = assign(raw, {}, calibration={"wheel_speed_fl": Calibration(0.04, unit="(m/s)/Hz")})
    assert done.signals["wheel_speed_fl"].values[0] == pytest.approx(4.0)


def test_rotation_without_a_radius_is_asked():
    out = assign(log(("Wheel RPM FL", "rpm")), {})
    assert "tyre_radius_m under [car.front]" in out.questions[0]


def test_implausible_readings():
    few = np.full(200, 50.0)
    few[:3] = 9000.0
    out = assign(log(("GPS Speed", "km/h", few)), {})
    assert [f.code for f in out.findings] == ["out-of-range"]
    assert len(out.signals["gps_speed"].values) == 200
    most = assign(log(("GPS Speed", "m/s", np.full(200, 190.0))), {})
    assert "is implausible in m/s (from 190 to 190)" in most.questions[0]


def test_positions_of_nought_are_no_positions():
    lat = np.full(200, 38.7)
    lat[:5] = 0.0
    out = assign(log(("LAT", "deg", lat)), {})
    assert len(out.signals["latitude"].values) == 195
    assert [f.code for f in out.findings] == ["sentinel"]


def test_a_persons_word():
    raw = log(("A", "km/h"), ("B [x]", None), ("Speed", "km/h"))
    out = assign(raw, {"gps_speed": "a", "vehicle_speed": "-", "throttle": "nothing like it"})
    assert out.signals["gps_speed"].name == "A"
    assert "vehicle_speed" not in out.signals
    assert out.missing == {"throttle": "nothing like it"}
    with pytest.raises(ValueError, match="'gps_sped' is no channel role"):
        assign(raw, {"gps_sped": "A"})


def test_roles_are_those_of_the_day_folder():
    named = "time gps_speed vehicle_speed latitude longitude altitude heading throttle brake_pressure"
    named += " steering_angle accel_long accel_lat yaw_rate ride_height_front ride_height_rear airspeed"
    named += " air_yaw motor_torque motor_speed clutch gear"
    stems = ("wheel_speed", "damper", "ride_height", "pushrod_load", "tyre_temperature", "tyre_pressure")
    corners = {f"{stem}_{corner}" for stem in stems for corner in ("fl", "fr", "rl", "rr")}
    assert set(ROLE_NAMES) == set(named.split()) | corners
    assert all(role.low < role.high for role in ROLES.values())


def moving(scale: float, seconds: float = 200.0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A drive north-east with changing speed: time, reading, latitude and longitude in degrees."""
    time = np.arange(0, seconds, 0.1)
    speed = 15 + 10 * np.sin(time / 9)
    metres = np.cumsum(speed) * 0.1
    lat = 40 + np.degrees(metres * np.cos(0.8) / 6_371_008.8)
    lon = -3 + np.degrees(metres * np.sin(0.8) / (6_371_008.8 * np.cos(np.radians(40))))
    return time, speed / scale, lat, lon


@pytest.mark.parametrize(
    ("unit", "scale"), [("m/s", 1.0), ("km/h", 1 / 3.6), ("mph", 0.44704), ("knots", 0.514444)]
)
@pytest.mark.parametrize("hold", [1, 40])
def test_positions_tell_a_speeds_unit(unit, scale, hold):
    """Also from a receiver that holds each position for four seconds and then jumps."""
    time, reading, lat, lon = moving(scale)
    held = np.arange(len(time)) // hold * hold
    raw = RawLog(
        "a.csv",
        (
            Channel("GpsSpeed", None, time, reading),
            Channel("LAT", None, time, lat[held]),
            Channel("LON", None, time, lon[held]),
            Channel("Speed", None, time, reading * 1.01),
        ),
        "",
    )
    out = assign(raw, {})
    assert not out.questions
    np.testing.assert_allclose(out.signals["gps_speed"].values, reading * scale, rtol=1e-5)
    np.testing.assert_allclose(out.signals["vehicle_speed"].values, reading * 1.01 * scale, rtol=1e-5)
    assert [f.code for f in out.findings] == ["unit-inferred"] * 2
    assert f"is in {unit}." in out.findings[0].text


def test_another_speed_tells_a_speeds_unit():
    time, reading, _, _ = moving(1 / 3.6)
    raw = RawLog(
        "a.csv",
        (Channel("GPS Speed", "km/h", time, reading), Channel("Speed", None, time, reading / 3.6)),
        "",
    )
    out = assign(raw, {})
    assert "'GPS Speed' tells that it is in m/s" in out.findings[0].text


def test_a_plain_speed_beside_positions_alone_is_the_satellites():
    box = [("speed", "km/h"), ("latitude", "deg"), ("longitude", "deg"), ("heading", "deg")]
    out = assign(log(*box), {})
    assert out.signals["gps_speed"].name == "speed"
    assert [f.code for f in out.findings] == ["role-inferred"]
    assert assign(log(*box, ("TPS", "%")), {}).signals["vehicle_speed"].name == "speed"


def test_positions_that_fit_no_unit_tell_nothing():
    time, reading, lat, lon = moving(0.75)
    channels = (
        Channel("GpsSpeed", None, time, reading),
        Channel("LAT", None, time, lat),
        Channel("LON", None, time, lon),
    )
    assert "has no unit" in assign(RawLog("a.csv", channels, ""), {}).questions[0]


def test_a_column_seen_before_plays_its_role_again() -> None:
    raw = log(("Q17", None), ("other", "km/h"))
    seen = {"gps_speed": ["Q17 [km/h]"], "throttle": ["gone"]}
    assert remembered(raw, {}, seen) == {"gps_speed": "Q17 [km/h]"}
    assert remembered(raw, {"gps_speed": "other"}, seen) == {}  # a word of this day comes first
    assert remembered(raw, {"vehicle_speed": "Q17"}, seen) == {}


def test_a_remembered_unit_gives_way_to_the_logs_own() -> None:
    seen = {"gps_speed": ["Q17 [km/h]"]}
    assert remembered(log(("Q17", "m/s")), {}, seen) == {"gps_speed": "Q17"}
    assert remembered(log(("Q17", "blorp")), {}, seen) == {"gps_speed": "Q17 [km/h]"}


def test_the_newest_word_that_a_log_has_counts_and_what_names_say_anyway_is_left_to_them() -> None:
    assert remembered(log(("old", "km/h")), {}, {"gps_speed": ["new", "old"]}) == {"gps_speed": "old"}
    both = log(("old", "km/h"), ("new", "km/h"))
    assert remembered(both, {}, {"gps_speed": ["new", "old"]}) == {"gps_speed": "new"}
    plain = log(("GPS speed", "km/h"))
    assert propose(plain)[0].role == "gps_speed"
    assert remembered(plain, {}, {"gps_speed": ["GPS speed"]}) == {}
