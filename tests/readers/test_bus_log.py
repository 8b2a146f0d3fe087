"""Raw bus logs in each format with a database of signals, against cantools' own decoding."""

import datetime as dt
import struct
import zlib

import can
import numpy as np
import pytest

from server.errors import LogError
from server.readers import limits, open_log
from server.readers.bus_clock import asc_date
from server.readers.bus_files import bus_form
from tests.readers.buses import DBC, GPS, WHEELS, cantools_values, database, drive, message, write
from tests.readers.damaging import damaged, reads_or_refuses
from tests.readers.logs import channel, codes, is_sound, names, said

FORMS = {"log": "candump", "asc": "ASC", "trc": "TRC", "blf": "BLF", "csv": "frame CSV"}
DRIVE = drive()
SIGNALS = {
    "Speed (Navigation_GPS)": ("Navigation_GPS", "Speed", "km/h"),
    "Heading (Navigation_GPS)": ("Navigation_GPS", "Heading", "deg"),
    "Satellites (Navigation_GPS)": ("Navigation_GPS", "Satellites", None),
    "Page": ("Suspension", "Page", None),
    "DamperFL": ("Suspension", "DamperFL", "mm"),
    "DamperRL": ("Suspension", "DamperRL", "mm"),
    "Temperature (Suspension)": ("Suspension", "Temperature", "°C"),
    "Strain": ("Suspension", "Strain", "N"),
    "WheelSpeedFL": ("Wheels", "WheelSpeedFL", "km/h"),
    "WheelSpeedFR": ("Wheels", "WheelSpeedFR", "km/h"),
    "Temperature (Wheels)": ("Wheels", "Temperature", "°C"),
    "Mode": ("Wheels", "Mode", None),
}


def opened(tmp_path, frames, form="log", text=DBC, encoding="cp1252"):
    """Frames written in a format, under a name that tells nothing, and opened."""
    path = write(tmp_path / f"frames.{form}", frames).rename(tmp_path / "run01.dat")
    return open_log(path, signals=database(tmp_path, text, encoding))


@pytest.mark.parametrize("form", FORMS)
def test_every_format_gives_what_cantools_decodes(tmp_path, form):
    raw = opened(tmp_path, DRIVE, form)
    assert is_sound(raw)
    assert names(raw) == list(SIGNALS)
    for title, (name, signal, unit) in SIGNALS.items():
        found = channel(raw, title)
        assert found.unit == unit
        assert found.values == pytest.approx(cantools_values(DBC, DRIVE, name, signal), rel=1e-12)
    speed = channel(raw, "Speed (Navigation_GPS)")
    assert np.diff(speed.time_s) == pytest.approx(np.full(199, 0.01), abs=2e-4)
    assert f"raw frames of a bus ({FORMS[form]}) with the signals of car.dbc; 600 frames of 1 bus" in raw.description


@pytest.mark.parametrize("form", ["log", "csv"])
def test_times_since_1970_are_a_clock_in_utc(tmp_path, form):
    raw = opened(tmp_path, DRIVE, form)
    assert (raw.start_date, raw.start_clock_s, raw.clock_is_utc) == (dt.date(2026, 5, 9), 36_000.0, True)
    assert "clock-zone-assumed" not in codes(raw)


@pytest.mark.parametrize("form", ["blf", "trc"])
def test_a_start_without_a_zone_is_the_venues_clock(tmp_path, form):
    raw = opened(tmp_path, DRIVE, form)
    assert (raw.start_date, raw.clock_is_utc) == (dt.date(2026, 5, 9), False)
    assert raw.start_clock_s == pytest.approx(36_000.0, abs=0.01)
    assert said(raw, "clock-zone-assumed").endswith("taken as the venue's clock; give the run's start if not.")


def test_times_from_zero_carry_no_clock(tmp_path):
    raw = opened(tmp_path, drive(start=0.0))
    assert raw.start_clock_s is None
    assert channel(raw, "WheelSpeedFL").time_s[0] == pytest.approx(0.002)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("May 9 10:00:01.250 2026", dt.datetime(2026, 5, 9, 10, 0, 1, 250_000, dt.UTC)),
        ("Mai 09 12:30:01.5 am 2026", dt.datetime(2026, 5, 9, 0, 30, 1, 500_000, dt.UTC)),
        ("Dez 31 01:00:00 PM 2026", dt.datetime(2026, 12, 31, 13, 0, 0, 0, dt.UTC)),
        ("May 39 10:00:01 2026", None),
        ("yesterday", None),
        (None, None),
    ],
)
def test_dates_of_a_header(text, moment):
    assert asc_date(text) == moment


def test_identifiers_of_11_and_29_bits_are_two(tmp_path):
    frames = [*DRIVE, *(can.Message(timestamp=1_778_320_800.0 + i, arbitration_id=GPS, is_extended_id=True,
                                    data=bytes(8), channel=0) for i in range(3))]  # fmt: skip
    raw = opened(tmp_path, frames, "blf")
    assert len(channel(raw, "Speed (Navigation_GPS)").values) == 200
    assert said(raw, "unknown-frames").endswith("3 of 603 frames have ids that car.dbc does not know: 0x00000100.")


def test_frames_without_signals_are_counted(tmp_path):
    moment = 1_778_320_800.0
    frames = [
        *DRIVE,
        *(message(0x7AB, b"\1", moment + i) for i in range(4)),
        *(message(0x100 + i, b"", moment) for i in range(0x10, 0x18)),
        can.Message(timestamp=moment, is_error_frame=True, channel=0),
        can.Message(timestamp=moment, arbitration_id=GPS, is_extended_id=False, is_remote_frame=True, dlc=8, channel=0),
    ]
    raw = opened(tmp_path, frames, "blf")
    assert said(raw, "unknown-frames") == (
        "run01.dat: 12 of 612 frames have ids that car.dbc does not know: 0x7ab, 0x110, 0x111, 0x112, 0x113, 0x114 "
        "and 3 more."
    )
    texts = [f.text for f in raw.findings if f.code == "error-frames"]
    assert texts == [
        "run01.dat: 1 error frames are left out.",
        "run01.dat: 1 remote frames, which carry no data, are left out.",
    ]
    assert len(channel(raw, "Speed (Navigation_GPS)").values) == 200


def test_one_message_on_two_buses_stays_two(tmp_path):
    other = [message(GPS, b"\x10\x27" + bytes(6), 1_778_320_800.0 + i / 10, channel="can1") for i in range(20)]
    raw = opened(tmp_path, [*(f for f in DRIVE if f.arbitration_id != WHEELS), *other])
    assert [n for n in names(raw) if n.startswith("Speed")] == [
        "Speed (Navigation_GPS) (bus can0)",
        "Speed (Navigation_GPS) (bus can1)",
    ]
    assert set(channel(raw, "Speed (Navigation_GPS) (bus can1)").values) == {100.0}
    assert "DamperFL" in names(raw)


def test_frames_with_flexible_data_rate(tmp_path):
    long = DBC + '\nBO_ 300 Long: 64 ECU\n SG_ Last : 504|8@1+ (1,0) [0|0] "" ECU\n'
    frames = [
        can.Message(timestamp=i / 10, arbitration_id=300, is_extended_id=False, is_fd=True, bitrate_switch=True,
                    data=bytes(63) + bytes([i]), dlc=64, channel=0) for i in range(20)]  # fmt: skip
    for form in ("log", "blf", "asc"):
        raw = opened(tmp_path, frames, form, text=long)
        assert channel(raw, "Last").values == pytest.approx(np.arange(20))


def test_frames_shorter_than_the_database_says(tmp_path):
    short = [message(WHEELS, bytes([0, 100, 0]), 1_778_320_802.0 + i) for i in range(5)]
    raw = opened(tmp_path, [*DRIVE, *short])
    assert len(channel(raw, "WheelSpeedFL").values) == 205
    assert len(channel(raw, "WheelSpeedFR").values) == 200
    assert said(raw, "short-frames") == (
        "run01.dat, message 'Wheels': 5 of 205 frames are shorter than the 8 bytes that the database says; what they "
        "lack is left out."
    )


@pytest.mark.parametrize("encoding", ["cp1252", "utf-8", "latin-1", "utf-8-sig"])
def test_a_databases_encoding(tmp_path, encoding):
    assert channel(opened(tmp_path, DRIVE, encoding=encoding), "Temperature (Wheels)").unit == "°C"


KCD = """<?xml version="1.0" encoding="UTF-8"?>
<NetworkDefinition xmlns="http://kayak.2codeornot2code.org/1.0"><Document name="car"/>
<Node id="1" name="ECU"/><Bus name="main"><Message id="0x100" length="8" name="Position">
<Signal name="Speed" offset="0" length="16"><Value slope="0.01" unit="km/h"/></Signal>
</Message></Bus></NetworkDefinition>
"""
SYM = """FormatVersion=6.0 // of the file
Title="car"

{SENDRECEIVE}

[Position]
ID=100h
Type=Standard
Len=8
Sig=Speed 0

{SIGNALS}
Sig=Speed unsigned 16 /u:km/h /f:0.01
"""


ARXML = """<?xml version="1.0" encoding="UTF-8"?>
<AUTOSAR xmlns="http://autosar.org/schema/r4.0" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
 xsi:schemaLocation="http://autosar.org/schema/r4.0 AUTOSAR_4-0-3.xsd"><AR-PACKAGES><AR-PACKAGE>
<SHORT-NAME>car</SHORT-NAME><ELEMENTS>
<CAN-CLUSTER><SHORT-NAME>bus</SHORT-NAME><CAN-CLUSTER-VARIANTS><CAN-CLUSTER-CONDITIONAL>
<PHYSICAL-CHANNELS><CAN-PHYSICAL-CHANNEL><SHORT-NAME>channel</SHORT-NAME><FRAME-TRIGGERINGS><CAN-FRAME-TRIGGERING>
<SHORT-NAME>t</SHORT-NAME><FRAME-REF DEST="CAN-FRAME">/car/Position</FRAME-REF>
<CAN-ADDRESSING-MODE>STANDARD</CAN-ADDRESSING-MODE><IDENTIFIER>256</IDENTIFIER>
</CAN-FRAME-TRIGGERING></FRAME-TRIGGERINGS></CAN-PHYSICAL-CHANNEL></PHYSICAL-CHANNELS>
</CAN-CLUSTER-CONDITIONAL></CAN-CLUSTER-VARIANTS></CAN-CLUSTER>
<CAN-FRAME><SHORT-NAME>Position</SHORT-NAME><FRAME-LENGTH>8</FRAME-LENGTH><PDU-TO-FRAME-MAPPINGS><PDU-TO-FRAME-MAPPING>
<SHORT-NAME>m</SHORT-NAME><PDU-REF DEST="I-SIGNAL-I-PDU">/car/Pdu</PDU-REF><START-POSITION>0</START-POSITION>
</PDU-TO-FRAME-MAPPING></PDU-TO-FRAME-MAPPINGS></CAN-FRAME>
<I-SIGNAL-I-PDU><SHORT-NAME>Pdu</SHORT-NAME><LENGTH>8</LENGTH><I-SIGNAL-TO-PDU-MAPPINGS><I-SIGNAL-TO-I-PDU-MAPPING>
<SHORT-NAME>s</SHORT-NAME><I-SIGNAL-REF DEST="I-SIGNAL">/car/Speed</I-SIGNAL-REF>
<PACKING-BYTE-ORDER>MOST-SIGNIFICANT-BYTE-LAST</PACKING-BYTE-ORDER><START-POSITION>0</START-POSITION>
</I-SIGNAL-TO-I-PDU-MAPPING></I-SIGNAL-TO-PDU-MAPPINGS></I-SIGNAL-I-PDU>
<I-SIGNAL><SHORT-NAME>Speed</SHORT-NAME><LENGTH>16</LENGTH>
<SYSTEM-SIGNAL-REF DEST="SYSTEM-SIGNAL">/car/SpeedOfCar</SYSTEM-SIGNAL-REF></I-SIGNAL>
<SYSTEM-SIGNAL><SHORT-NAME>SpeedOfCar</SHORT-NAME><PHYSICAL-PROPS>
<SW-DATA-DEF-PROPS-VARIANTS><SW-DATA-DEF-PROPS-CONDITIONAL>
<COMPU-METHOD-REF DEST="COMPU-METHOD">/car/Hundredths</COMPU-METHOD-REF>
</SW-DATA-DEF-PROPS-CONDITIONAL></SW-DATA-DEF-PROPS-VARIANTS></PHYSICAL-PROPS></SYSTEM-SIGNAL>
<UNIT><SHORT-NAME>kmh</SHORT-NAME><DISPLAY-NAME>km/h</DISPLAY-NAME></UNIT>
<COMPU-METHOD><SHORT-NAME>Hundredths</SHORT-NAME><CATEGORY>LINEAR</CATEGORY><UNIT-REF DEST="UNIT">/car/kmh</UNIT-REF>
<COMPU-INTERNAL-TO-PHYS><COMPU-SCALES><COMPU-SCALE><COMPU-RATIONAL-COEFFS>
<COMPU-NUMERATOR><V>0</V><V>0.01</V></COMPU-NUMERATOR>
<COMPU-DENOMINATOR><V>1</V></COMPU-DENOMINATOR></COMPU-RATIONAL-COEFFS></COMPU-SCALE></COMPU-SCALES>
</COMPU-INTERNAL-TO-PHYS></COMPU-METHOD>
</ELEMENTS></AR-PACKAGE></AR-PACKAGES></AUTOSAR>
"""


@pytest.mark.parametrize("text", [KCD, SYM, ARXML], ids=["KCD", "SYM", "ARXML"])
def test_other_databases(tmp_path, text):
    raw = opened(tmp_path, DRIVE, text=text)
    assert channel(raw, "Speed").values == pytest.approx(cantools_values(DBC, DRIVE, "Navigation_GPS", "Speed"))
    assert channel(raw, "Speed").unit == "km/h"


J1939 = """VERSION ""
BU_: Engine
BO_ 2566844926 Speeds: 8 Engine
 SG_ Wheel_Speed : 8|16@1+ (0.00390625,0) [0|250] "km/h" Engine
BA_DEF_ BO_ "VFrameFormat" ENUM "StandardCAN","ExtendedCAN","reserved","J1939PG";
BA_DEF_ "ProtocolType" STRING ;
BA_DEF_DEF_ "VFrameFormat" "J1939PG";
BA_DEF_DEF_ "ProtocolType" "J1939";
BA_ "ProtocolType" "J1939";
BA_ "VFrameFormat" BO_ 2566844926 3;
"""


def test_parameter_groups_of_several_senders(tmp_path):
    """SAE J1939-21: CCVS is parameter group 65265 (0xFEF1); priority and sender are no part of it."""
    sent = {0x18FEF100: 80, 0x0CFEF117: 40}
    frames = [message(i, bytes([0, 0, v, 0, 0, 0, 0, 0]), k / 10) for k in range(9) for i, v in sent.items()]
    raw = opened(tmp_path, frames, text=J1939)
    values = {c.name: set(c.values) for c in raw.channels}
    assert values == {"Wheel_Speed (sender 0)": {80.0}, "Wheel_Speed (sender 23)": {40.0}}
    alone = opened(tmp_path, frames[::2], text=J1939)
    assert names(alone) == ["Wheel_Speed"]


def test_without_a_database_it_is_said_what_to_bring(tmp_path):
    path = write(tmp_path / "run01.blf", DRIVE)
    with pytest.raises(LogError) as error:
        open_log(path)
    assert str(error.value) == (
        "run01.blf holds raw frames of a bus (BLF), which only the database of the car's signals makes readable: put "
        "its file (DBC, KCD, SYM or ARXML) into the day's folder and name it at the top of testday.toml, for example: "
        'signals = "car.dbc".'
    )


def test_another_cars_database(tmp_path):
    other = 'VERSION ""\nBO_ 5 Other: 8 ECU\n SG_ Speed : 0|16@1+ (0.01,0) [0|0] "km/h" ECU\n'
    with pytest.raises(LogError, match=r"car.dbc knows none of its 600 frames \(0x100, 0x101, 0x18ff0a08|bring the da"):
        opened(tmp_path, DRIVE, text=other)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "car.dbc is no database of signals that is read here; bring a DBC, KCD, SYM or ARXML file."),
        ('VERSION ""\nBS_:\n', "car.dbc defines no message of a bus."),
        ("<!DOCTYPE x [<!ENTITY a 'b'>]>" + KCD, "car.dbc defines entities of its own"),
        ('VERSION ""\nBO_ what', r"as a database of signals \(DBC\) \(DBC: .Invalid syntax at line 2"),
        ("<AUTOSAR>", r"car.dbc cannot be read as a database of signals \(ARXML\)"),
    ],
)
def test_what_is_no_database(tmp_path, text, what):
    with pytest.raises(LogError, match=what):
        opened(tmp_path, DRIVE, text=text)


def test_a_missing_database(tmp_path):
    with pytest.raises(LogError, match=r"^none\.dbc cannot be opened: No such file or directory\.$"):
        open_log(write(tmp_path / "run01.log", DRIVE), signals=tmp_path / "none.dbc")


def test_a_changed_database_is_read_anew(tmp_path):
    assert channel(opened(tmp_path, DRIVE), "Speed (Navigation_GPS)").values[0] == pytest.approx(80.0)
    changed = DBC.replace('Speed : 0|16@1+ (0.01,0)', 'Speed : 0|16@1+ (0.02,0.5)')
    assert channel(opened(tmp_path, DRIVE, text=changed), "Speed (Navigation_GPS)").values[0] == pytest.approx(160.5)


def test_names_with_markup_stay_text(tmp_path):
    odd = DBC.replace('"N" ECU', '"<b>N</b>" ECU')
    assert channel(opened(tmp_path, DRIVE, text=odd), "Strain").unit == "<b>N</b>"


def test_damaged_lines_are_left_out_and_counted(tmp_path):
    for form, line in {"log": 7, "csv": 8, "trc": 20, "asc": 12}.items():
        path = write(tmp_path / f"run.{form}", DRIVE)
        lines = path.read_text().splitlines(keepends=True)
        broken = {"log": "(1778320800.1) can0 zz#00\n", "csv": "1,2\n", "asc": "0.1 1 100 Rx d 8 zz 00\n"}
        lines.insert(line, broken.get(form, "  1) 1.0 DT 1 zz Rx - 8 00\n"))
        path.write_text("".join(lines))
        raw = open_log(path, signals=database(tmp_path))
        assert said(raw, "lost-lines") == (
            f"{path.name}: 1 line that is no frame is left out (the first is line {line + 1})."
        )
        assert len(channel(raw, "Speed (Navigation_GPS)").values) == 200, form


def test_a_text_cut_in_a_line_is_read_up_to_it(tmp_path):
    path = write(tmp_path / "run01.log", DRIVE)
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b"#") + 4])
    raw = open_log(path, signals=database(tmp_path))
    assert said(raw, "log-cut-short") == (
        "run01.log: the log stops in the middle of line 600; everything before it was read."
    )
    assert len(channel(raw, "Strain").values) == 199


def test_a_cut_blf_is_read_up_to_the_cut(tmp_path):
    path = write(tmp_path / "run01.blf", drive(20_000))
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    raw = open_log(path, signals=database(tmp_path))
    assert 5_000 < len(channel(raw, "Strain").values) < 15_000
    assert "the log stops in the middle or is damaged (" in said(raw, "log-cut-short")


def blf_with_block(path, packed):
    """A BLF whose first block is replaced by other packed bytes."""
    data = write(path, DRIVE).read_bytes()
    head = data[: data.index(b"LOBJ")]
    block = struct.pack("<HxxxxxxLxxxx", 2, 1000) + packed
    path.write_bytes(head + struct.pack("<4sHHII", b"LOBJ", 16, 1, 16 + len(block), 10) + block)
    return path


def test_a_block_that_unpacks_without_end_is_refused(tmp_path):
    path = blf_with_block(tmp_path / "run01.blf", zlib.compress(bytes(100_000_000), 9))
    assert path.stat().st_size < 200_000
    with pytest.raises(LogError, match=r"run01.blf holds a block that unpacks to more than 67 MB, as no log does"):
        open_log(path, signals=database(tmp_path))


def test_objects_without_size_do_not_go_in_circles(tmp_path):
    looping = struct.pack("<4sHHII", b"LOBJ", 16, 9, 0, 1) + bytes(64)
    path = blf_with_block(tmp_path / "run01.blf", zlib.compress(looping))
    with pytest.raises(LogError, match=r"run01.blf is a bus log \(BLF\) without a data frame"):
        open_log(path, signals=database(tmp_path))


def test_times_relative_to_the_frame_before_are_refused(tmp_path):
    path = write(tmp_path / "run01.asc", DRIVE)
    path.write_text(path.read_text().replace("timestamps absolute", "timestamps relative"))
    with pytest.raises(LogError, match="write it once more with absolute times"):
        open_log(path, signals=database(tmp_path))


def test_too_much_is_refused_before_it_is_decoded(tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "MAX_BYTES", 10_000)
    with pytest.raises(LogError, match=r"run01.dat unpacks to 0 MB; no more than 0 MB are read"):
        opened(tmp_path, DRIVE)


@pytest.mark.parametrize(
    "text", ["time,speed\n0,1\n", "timestamp,arbitration\n", "; remark\n1;2\n", "date,time,v\n", "(1.0) a\n", ""]
)
def test_other_text_is_no_bus_log(text):
    assert bus_form(text.encode()) is None


@pytest.mark.parametrize("form", FORMS)
def test_damaged_files(tmp_path, form):
    path = write(tmp_path / f"run01.{form}", drive(60))
    base = database(tmp_path)
    data = path.read_bytes()
    read_well = 0
    for bad in damaged(data, 90):
        path.write_bytes(bad)
        read_well += reads_or_refuses(path, base)
    assert read_well > 0


def test_damaged_databases(tmp_path):
    path = write(tmp_path / "run01.log", drive(5))
    base = tmp_path / "car.dbc"
    for bad in damaged(DBC.encode("cp1252"), 120):
        base.write_bytes(bad)
        reads_or_refuses(path, base)
