"""Raw frames of a bus inside an MDF recording (ASAM MDF bus logging: a structure called CAN_DataFrame)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.readers.bus_frames import EXTENDED, Frames
from server.testday.values import FloatArray

FRAME = "CAN_DataFrame"
_BUS_EVENT = 2
_OTHER_FRAMES = ("CAN_", "LIN_", "FLX_", "MOST_", "ETH_", "K_LINE_")


def is_bus_group(group: Any) -> bool:
    """Whether a group holds events of a bus and no measured channels."""
    names = [channel.name for channel in group.channels]
    marked = bool(group.channel_group.flags & _BUS_EVENT)
    return FRAME in names or (marked and any(name.startswith(_OTHER_FRAMES) for name in names))


def frames_of(mdf: Any, groups: Sequence[int]) -> Frames | None:
    """Collect the data frames of several groups in the order of their times; None where there are none."""
    found = [_group_frames(mdf, index) for index in groups if _has_frames(mdf.groups[index])]
    if not found:
        return None
    time, key, bus, lengths, data = (np.concatenate(parts) for parts in zip(*found, strict=True))
    order = np.argsort(time, kind="stable")
    starts = np.concatenate([[0], np.cumsum(lengths)])
    width = int(lengths.max(initial=0))
    matrix = np.zeros((len(time), width), dtype=np.uint8)
    for byte in range(width):
        there = lengths > byte
        matrix[there, byte] = data[starts[:-1][there] + byte]
    lengths = lengths[order]
    inside = np.arange(width) < lengths[:, None]
    numbers, which = np.unique(bus[order], return_inverse=True)
    return Frames(
        time_s=time[order],
        key=key[order],
        bus=which.astype(np.uint32),
        buses=tuple(str(number) for number in numbers),
        offset=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        data=matrix[order][inside],
    )


def _has_frames(group: Any) -> bool:
    names = {channel.name for channel in group.channels}
    return bool(group.channel_group.cycles_nr) and f"{FRAME}.ID" in names and f"{FRAME}.DataBytes" in names


GroupFrames = tuple[FloatArray, NDArray[np.uint32], NDArray[np.int64], NDArray[np.int64], NDArray[np.uint8]]


def _group_frames(mdf: Any, index: int) -> GroupFrames:
    """Times, keys, buses, lengths, and bytes of all frames one after the other."""
    names = {channel.name for channel in mdf.groups[index].channels}
    wanted = [f"{FRAME}.{part}" for part in ("ID", "DataBytes", "IDE", "BusChannel", "DataLength")]
    read = {name: mdf.get(name, group=index, raw=True) for name in wanted if name in names}
    identifier = read[f"{FRAME}.ID"].samples.astype(np.int64) & 0xFFFF_FFFF
    numbers = identifier & 0x1FFF_FFFF
    extended = (identifier & EXTENDED != 0) | (numbers > 0x7FF)
    if f"{FRAME}.IDE" in read:
        extended |= read[f"{FRAME}.IDE"].samples.astype(bool)
    payload = np.asarray(read[f"{FRAME}.DataBytes"].samples)
    payload = payload if payload.ndim == 2 else payload.reshape(len(payload), -1).view(np.uint8)
    lengths = np.full(len(payload), payload.shape[1], dtype=np.int64)
    if f"{FRAME}.DataLength" in read:
        lengths = np.minimum(read[f"{FRAME}.DataLength"].samples.astype(np.int64), lengths)
    bus = np.zeros(len(payload), dtype=np.int64)
    if f"{FRAME}.BusChannel" in read:
        bus = read[f"{FRAME}.BusChannel"].samples.astype(np.int64)
    keys = np.where(extended, numbers | EXTENDED, numbers).astype(np.uint32)
    inside = np.arange(payload.shape[1]) < lengths[:, None]
    time = np.asarray(read[f"{FRAME}.ID"].timestamps, dtype=np.float64)
    return time, keys, bus, lengths, payload.astype(np.uint8)[inside]
