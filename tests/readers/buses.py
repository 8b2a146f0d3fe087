"""A made-up car's bus: its database of signals, and frames of it, for the readers' tests."""

from __future__ import annotations

from pathlib import Path

import can
import cantools
import numpy as np

DBC = """VERSION ""

NS_ :

BS_:

BU_: ECU

BO_ 256 Navigation_GPS: 8 ECU
 SG_ Speed : 0|16@1+ (0.01,0) [0|0] "km/h" ECU
 SG_ Heading : 16|16@1+ (0.01,0) [0|360] "deg" ECU
 SG_ Satellites : 32|8@1+ (1,0) [0|0] "" ECU

BO_ 257 Wheels: 8 ECU
 SG_ WheelSpeedFL : 7|16@0+ (0.01,0) [0|0] "km/h" ECU
 SG_ WheelSpeedFR : 23|16@0+ (0.01,0) [0|0] "km/h" ECU
 SG_ Temperature : 39|16@0- (0.1,-40) [0|0] "°C" ECU
 SG_ Mode : 55|8@0+ (1,0) [0|0] "" ECU

BO_ 2566845000 Suspension: 8 ECU
 SG_ Page M : 0|4@1+ (1,0) [0|0] "" ECU
 SG_ DamperFL m0 : 8|16@1- (0.005,10) [0|0] "mm" ECU
 SG_ DamperRL m1 : 8|16@1- (0.005,10) [0|0] "mm" ECU
 SG_ Temperature m1 : 24|8@1- (1,0) [0|0] "°C" ECU
 SG_ Strain : 32|32@1- (1,0) [0|0] "N" ECU

SIG_VALTYPE_ 2566845000 Strain : 1;
VAL_ 257 Mode 0 "neutral" 1 "first" 2 "second" ;
"""
GPS, WHEELS, SUSPENSION = 256, 257, 2566845000 & 0x1FFF_FFFF


def database(folder: Path, text: str = DBC, encoding: str = "cp1252") -> Path:
    """Write the database of signals and return its path."""
    path = folder / "car.dbc"
    path.write_bytes(text.encode(encoding))
    return path


def message(identifier: int, data: bytes, time_s: float, **more: object) -> can.Message:
    """A frame; its identifier has 29 bits where it is large."""
    more = {"channel": 0, **more}
    return can.Message(
        timestamp=time_s, arbitration_id=identifier, is_extended_id=identifier > 0x7FF, data=data, **more
    )


def drive(count: int = 200, start: float = 1_778_320_800.0) -> list[can.Message]:
    """A car that slows down, logged for `count` hundredths of a second from 2026-05-09 10:00 UTC."""
    known = cantools.database.load_string(DBC)
    frames = []
    for i in range(count):
        speed, time = max(80.0 - 0.05 * i, 0.0), start + i / 100.0
        gps = known.encode_message("Navigation_GPS", {"Speed": speed, "Heading": 82.0, "Satellites": 9})
        wheel = {"WheelSpeedFL": speed, "WheelSpeedFR": speed + 0.1, "Temperature": -12.5, "Mode": i % 3}
        page = {"Page": 0, "DamperFL": -3.5} if i % 2 else {"Page": 1, "DamperRL": 12.5, "Temperature": -7}
        frames.append(message(GPS, gps, time))
        frames.append(message(WHEELS, known.encode_message("Wheels", wheel), time + 0.002))
        suspension = known.encode_message("Suspension", {**page, "Strain": -1234.5})
        frames.append(message(SUSPENSION, suspension, time + 0.004))
    return frames


def write(path: Path, messages: list[can.Message]) -> Path:
    """Write frames in the format that the file's name asks for; the reader does not look at the name."""
    with can.Logger(path) as logger:
        for frame in messages:
            logger.on_message_received(frame)
    return path


def cantools_values(text: str, messages: list[can.Message], name: str, signal: str) -> np.ndarray:
    """A signal's values by cantools' own decoding, one frame after the other."""
    known = cantools.database.load_string(text, strict=False)
    wanted = known.get_message_by_name(name)
    rows = [m for m in messages if m.arbitration_id == wanted.frame_id and not m.is_error_frame]
    decoded = [wanted.decode(m.data, decode_choices=False) for m in rows]
    return np.array([row[signal] for row in decoded if signal in row], dtype=np.float64)
