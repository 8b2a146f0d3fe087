"""A burst read: each frame by itself with a low threshold, the frames laid over each other, tufts told over all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.analysis.tuft_burst import FRAME_FROM, BurstTuft, beside_still, burst_tufts
from server.analysis.tuft_frames import Move, moved_by, shift_of_small, shifted, small_frame
from server.analysis.tuft_reading import read_tufts
from server.analysis.tuft_unsteadiness import open_between, proposed_condition
from server.testday.tufts import Condition, TuftMark

FEW_FRAMES = 5  # below, an interval of the spread is wider than a factor of three
OTHER_SIZE = "Frame {number} is of another size and was left out."
FEW = "Only {count} frames: the interval of each spread is wide; five or more tell it better."
ASTRAY = "Frame {number} lies too differently and was left out: it may be of another view."


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """What is kept of a frame once it was looked at: bars with their probabilities, and the picture made small."""

    marks: tuple[TuftMark, ...]
    chances: tuple[float, ...]
    small: tuple[NDArray[np.float64], int]
    shape: tuple[int, ...]

    @staticmethod
    def of(
        photo: NDArray[np.generic], roots_px: ArrayLike | None = None, stations: Sequence[str] = ()
    ) -> Frame:
        """Look at one; roots_px, stations: as for `read_tufts`, of the first frame alone."""
        read = read_tufts(photo, roots_px, stations, least=FRAME_FROM)
        return Frame(read.marks, read.probabilities, small_frame(photo), tuple(photo.shape[:2]))


@dataclass(frozen=True, slots=True)
class ToldTuft:
    """A tuft of a burst: with the direction that it has without flow, the condition proposed, and whether the interval
    of its spread lets the next condition be, too."""

    tuft: BurstTuft
    still_rad: float | None
    condition: Condition | None
    open: bool


@dataclass(frozen=True, slots=True)
class BurstReading:
    """Tufts of a burst on its first frame; frames: how many were laid over each other; said: what limits it."""

    tufts: tuple[ToldTuft, ...]
    frames: int
    moves: tuple[Move, ...]
    said: tuple[str, ...]


def read_burst(frames: Sequence[Frame], flow_rad: float | None = None, still: Frame | None = None) -> BurstReading:
    """Tell the tufts of a burst. flow_rad: a person's word on the way of the flow on the first frame; still: the same
    view without flow. Raises ValueError without a frame."""
    if not frames:
        raise ValueError("frames: at least one")
    first, said = frames[0], []
    kept, moves = [], []
    for number, frame in enumerate(frames, start=1):
        if frame.shape != first.shape:
            said.append(OTHER_SIZE.format(number=number))
            continue
        kept.append(frame)
        moves.append(_move(first, frame))
    if len(kept) < FEW_FRAMES:
        said.append(FEW.format(count=len(kept)))
    told = burst_tufts([f.marks for f in kept], moves, [f.chances for f in kept])
    told = tuple(replace(one, mark=_by_flow(one.mark, flow_rad)) for one in told)
    rests = _rests(told, first, still)
    tufts = tuple(
        ToldTuft(replace(one, mark=mark), rest, _condition(one, mark, flow_rad, rest), open_between(one.unsteady))
        for one, (mark, rest) in zip(told, rests, strict=True)
    )
    return BurstReading(tufts, len(kept), tuple(moves), tuple(said))


def _move(first: Frame, frame: Frame) -> Move:
    if frame is first:
        return shifted(0.0, 0.0)
    sure = [[m for m, c in zip(f.marks, f.chances, strict=True) if c > 0.5] for f in (first, frame)]
    return moved_by(shift_of_small(first.small, frame.small), *sure)


def _by_flow(mark: TuftMark, flow_rad: float | None) -> TuftMark:
    """Where nothing else told which end is the root, a person's word on the flow does."""
    from server.analysis.tuft_direction import settled_by_flow

    return mark if mark.direction_settled_by is not None or flow_rad is None else settled_by_flow(mark, flow_rad)


def _rests(
    told: Sequence[BurstTuft], first: Frame, still: Frame | None
) -> tuple[tuple[TuftMark, float | None], ...]:
    if still is None or still.shape != first.shape:
        return tuple((one.mark, None) for one in told)
    move = _move(first, still)
    return beside_still([one.mark for one in told], [_back(mark, move) for mark in still.marks])


def _back(mark: TuftMark, move: Move) -> TuftMark:
    """A mark of another frame as it would lie on the first one."""
    from server.analysis.tuft_frames import ends_of

    (x, y), (tip_x, tip_y) = move.back(ends_of([mark]))
    way = float(np.arctan2(tip_y - y, tip_x - x))
    return replace(mark, x_px=float(x), y_px=float(y), direction_rad=way)


def _condition(
    one: BurstTuft, mark: TuftMark, flow_rad: float | None, rest: float | None
) -> Condition | None:
    sure = mark.direction_rad if mark.direction_settled_by is not None else None
    return proposed_condition(one.unsteady.spread_rad, sure, flow_rad, rest)
