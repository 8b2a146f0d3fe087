"""One run of the made-up season written as CSV, Parquet, ASAM MDF and bus frames: the same day comes out."""

import shutil
import struct
from dataclasses import replace
from pathlib import Path

import can
import numpy as np
import pandas as pd
import pytest
from asammdf import MDF, Signal

from server.readers import open_log
from server.readers.load_day import load_day
from server.readers.zip_folder import unpack_day_zip
from server.testday.folder import write_folder
from server.testday.values import Day, LogFile, RawLog

FOLDER = Path(__file__).parents[2] / "sample_data" / "2026-05-09 calm morning"
SCALE = 1e-7  # of the bus' whole numbers of 32 bits, in a channel's own unit


@pytest.fixture(scope="module")
def csv_day() -> Day:
    """The day with its first run alone."""
    day = load_day(FOLDER)
    return replace(day, runs=day.runs[:1], spin_downs=(), axle_loadings=(), predictions=())


def as_parquet(raw: RawLog, path: Path) -> None:
    """One table; blanks where a slow channel has no sample."""
    columns = {f"{c.name} [{c.unit}]": pd.Series(c.values, index=c.time_s) for c in raw.channels}
    pd.DataFrame(columns).rename_axis("time [s]").reset_index().to_parquet(path, compression="zstd")


def as_mdf(raw: RawLog, path: Path) -> None:
    """A group of channels for each of the log's rates."""
    with MDF(version="4.10") as mdf:
        for times in {c.time_s.tobytes(): c.time_s for c in raw.channels}.values():
            group = [c for c in raw.channels if np.array_equal(c.time_s, times)]
            mdf.append([Signal(np.array(c.values), np.array(times), name=c.name, unit=c.unit) for c in group])
        mdf.header.abs_time = 0
        mdf.save(path.with_suffix(".mf4"), compression=1)
    path.with_suffix(".mf4").rename(path)


def as_frames(raw: RawLog, path: Path) -> None:
    """A message for each channel, whole numbers of 32 bits in big-endian order, behind a byte of another signal."""
    database = ['VERSION ""', "BS_:", "BU_: Car"]
    frames = []
    for number, channel in enumerate(raw.channels):
        database.append(f"BO_ {0x200 + number} Message{number}: 8 Car")
        database.append(f' SG_ {channel.name.replace(" ", "_")} : 15|32@0- ({SCALE},0) [0|0] "{channel.unit}" Car')
        whole = np.round(channel.values / SCALE).astype(int)
        frames += [(t, 0x200 + number, struct.pack(">Bi", 7, v)) for t, v in zip(channel.time_s, whole, strict=True)]
    (path.parent / "car.dbc").write_text("\n".join(database) + "\n", encoding="cp1252")
    with can.BLFWriter(path) as writer:
        for time, identifier, data in sorted(frames):
            writer.on_message_received(
                can.Message(timestamp=time, arbitration_id=identifier, is_extended_id=False, data=data, channel=0)
            )


FORMATS = {"Parquet": (as_parquet, None), "MDF": (as_mdf, None), "frames": (as_frames, "logs/car.dbc")}


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("zipped", [False, True], ids=["folder", "zip"])
def test_the_day_comes_out_the_same(tmp_path, csv_day, form, zipped):
    write_log, signals = FORMATS[form]
    (run,) = csv_day.runs
    expected = run.recordings[0].signals
    log = tmp_path / "source" / "logs" / "run01.dat"
    log.parent.mkdir(parents=True)
    write_log(open_log(FOLDER / run.logs[0].file), log)
    named = {role: signal.name.replace(" ", "_") if signals else signal.name for role, signal in expected.items()}
    day = replace(
        csv_day,
        channels=named,
        runs=(replace(run, logs=(LogFile("logs/run01.dat"),), channels={}, recordings=()),),
        signals=signals,
    )
    folder = write_folder(day, tmp_path / "day", tmp_path / "source")
    if zipped:
        bundle = Path(shutil.make_archive(str(tmp_path / "bundle"), "zip", folder))
        folder = unpack_day_zip(bundle, tmp_path / "unpacked")
    again = load_day(folder)
    found = again.runs[0].recordings[0].signals
    assert set(found) == set(expected)
    assert {"gps_speed", "wheel_speed_fl", "damper_rr", "latitude"} <= set(found)
    for role, signal in expected.items():
        resolution = 1e-12 + (2e-7 if form == "frames" else 0.0)  # SCALE in SI, damper volts to metres included
        assert found[role].time_s == pytest.approx(signal.time_s, abs=2e-5 if form == "frames" else 1e-9)
        assert found[role].values == pytest.approx(signal.values, rel=1e-9, abs=resolution)
    assert again.runs[0].recordings[0].start_clock_s == run.recordings[0].start_clock_s
    assert again.signals == signals
