"""Rows of a table of predictions as cases: each with what was given, what it became in words, or what is wrong."""

from __future__ import annotations

from dataclasses import replace

from server.readers.prediction_areas import Flow, Scaled, axles_by_moment, axles_by_share, digits, scaled, uncertainty
from server.readers.prediction_cells import Measured
from server.readers.prediction_line import RowError, RowLine
from server.readers.prediction_reading import U_FACTORS, Reading
from server.readers.prediction_table import GivenRow, GivenTable
from server.testday import folder_keys as keys
from server.testday.predicted import PredictedRow, TapCase
from server.testday.values import PredictionCase, Quantity

LARGEST_CP = 100.0
SUM_SHARE = 0.01
"""How far front and rear may be off the total of their row before one of the three must be wrong."""
_HEIGHTS = ("front_ride_height", "rear_ride_height")
_NAMES = {"drag": "SCx", "lift": "SCz", "lift_front": "SCz front", "lift_rear": "SCz rear"}
_KEYS = {"drag": keys.SCX, "lift": keys.SCZ_TOTAL, "lift_front": keys.SCZ[0], "lift_rear": keys.SCZ[1]}


def predicted_rows(table: GivenTable, reading: Reading) -> tuple[PredictedRow, ...]:
    """Every row, those that cannot be used with the reason; a case that comes a second time is one of them."""
    seen: dict[object, int] = {}
    return tuple(_once(_row(table, reading, row), seen) for row in table.rows)


def _row(table: GivenTable, reading: Reading, row: GivenRow) -> PredictedRow:
    pairs = zip(table.columns, row.cells, strict=True)
    given = {column.written or column.name: cell for column, cell in pairs if cell}
    line = RowLine(table, reading, row)
    try:
        made = _tap(line) if reading.kind == "taps" else _case(line)
        return replace(made, given=given, cells=line.plain("cells"))
    except RowError as fault:
        return PredictedRow(row.line, given, problem=str(fault))


def _once(row: PredictedRow, seen: dict[object, int]) -> PredictedRow:
    """The row, or the fault that its case came before."""
    if not row.taken:
        return row
    first = seen.setdefault((row.cells, case_key(row)), row.line)
    if first == row.line:
        return row
    text = f"Line {row.line} is the case of line {first} once more; if a column tells them apart, say so at it."
    return PredictedRow(row.line, row.given, problem=text)


def case_key(row: PredictedRow) -> object:
    """What a case or tap is about: two rows with the same speak of the same thing."""
    if row.tap is not None:
        return replace(row.tap, cp=0.0, u=0.0)
    if row.case is None:
        return None
    return replace(row.case, scx_m2=None, scz_front_m2=None, scz_rear_m2=None, scz_m2=None)


def _about(line: RowLine) -> dict[str, object]:
    """What cases and taps have in common."""
    front, rear = (line.plain(role, key) for role, key in zip(_HEIGHTS, keys.RIDE_HEIGHTS, strict=True))
    speed = line.plain("speed", keys.SPEED)
    return {
        "setup": line.text("setup", required=True) or line.said.setup,
        "front_ride_height_m": front,
        "rear_ride_height_m": rear,
        "yaw_rad": line.plain("yaw", keys.YAW) or 0.0,
        "speed_mps": line.said.speed_mps if speed is None else speed,
        "source": "; ".join(filter(None, [line.text("source"), *line.conditions()])),
    }


def _tap(line: RowLine) -> PredictedRow:
    about = _about(line)
    tap, cp, u = line.text("tap", required=True), line.cell("cp"), line.cell("cp_u")
    if cp is None:
        line.fault("cp", "is empty")
    if abs(cp.si) > LARGEST_CP:
        line.fault("cp", f"is {cp.number:g}, which no pressure coefficient of a car is")
    spread = 0.0
    if u is not None:
        spread = line.blame("cp_u", lambda: uncertainty(u, cp, Scaled(cp.si, 1.0, ""), line.said))
    words = (f"Cp = {digits(cp.si)}{_with_u(spread)}",)
    return PredictedRow(line.number, words=words, tap=TapCase(tap=tap, cp=cp.si, u=spread, **about))  # type: ignore[arg-type]


def _case(line: RowLine) -> PredictedRow:
    about = _about(line)
    area, density = line.plain("reference_area"), line.plain("density")
    flow = Flow(
        line.said.reference_area_m2 if area is None else area,
        line.said.density_kgm3 if density is None else density,
        about["speed_mps"],  # type: ignore[arg-type]
    )
    words: list[str] = []
    found = {role: _area(line, role, flow, words) for role in _NAMES}
    if all(one is None for one in found.values()):
        raise RowError(f"Line {line.number}: neither drag nor lift nor downforce stands in it.")
    scx, total, front, rear = found["drag"], found["lift"], found["lift_front"], found["lift_rear"]
    front, rear = _axles(line, flow, (scx, total, front, rear), words)
    keep_total = total is not None and (front is None or rear is None or line.cell("lift_u") is not None)
    case = PredictionCase(
        scx_m2=scx,
        scz_front_m2=front,
        scz_rear_m2=rear,
        scz_m2=total if keep_total else None,
        part=line.text("part") or line.said.part,
        **about,  # type: ignore[arg-type]
    )
    return PredictedRow(line.number, words=tuple(words), case=case)


def _area(line: RowLine, role: str, flow: Flow, words: list[str]) -> Quantity | None:
    """One of the four areas where its column is filled, and how it came about."""
    cell = line.cell(role)
    if cell is None:
        return None
    flip = role != "drag" and line.said.vertical == "lift"
    to = line.blame(role, lambda: scaled(cell, flow, line.said, flip=flip))
    line.check(role, to.value, _KEYS[role])
    u = _u(line, role, cell, to)
    words.append(f"{_NAMES[role]} = {to.words} = {digits(to.value)} m²{_with_u(u)}")
    return Quantity(to.value, u, "predicted")


def _u(line: RowLine, role: str, cell: Measured, to: Scaled) -> float:
    stated = line.cell(f"{role}_u")
    return 0.0 if stated is None else line.blame(f"{role}_u", lambda: uncertainty(stated, cell, to, line.said))


def _with_u(u: float) -> str:
    return f", u {u:.3g}" if u else ""


_Found = tuple[Quantity | None, Quantity | None, Quantity | None, Quantity | None]


def _axles(line: RowLine, flow: Flow, found: _Found, words: list[str]) -> tuple[Quantity | None, Quantity | None]:
    """Front and rear: as given, or from the total and whatever parts it."""
    scx, total, front, rear = found
    share, moment = line.cell("balance"), line.cell("moment")
    if total is not None and front is not None and rear is not None:
        _check_sum(line, total, front, rear)
    elif total is not None and front is not None:
        rear = _rest(total, front, "rear", "front", words)
    elif total is not None and rear is not None:
        front = _rest(total, rear, "front", "rear", words)
    elif total is not None and share is not None:
        front, rear = line.blame("balance", lambda: axles_by_share(total, share.si))
        both = f"SCz front {digits(front.value)} m², rear {digits(rear.value)} m²"
        words.append(f"front {100 * share.si:.4g} % of it: {both}")
    elif total is not None and moment is not None:
        front, rear = _by_moment(line, moment, flow, (scx, total), words)
    for role, one in (("lift_front", front), ("lift_rear", rear)):
        if one is not None:
            line.check(role if line.cell(role) else "lift", one.value, _KEYS[role])
    return front, rear


def _check_sum(line: RowLine, total: Quantity, front: Quantity, rear: Quantity) -> None:
    off, size = front.value + rear.value - total.value, max(abs(one.value) for one in (total, front, rear))
    if abs(off) > SUM_SHARE * size:
        both = f"front and rear add up to {front.value + rear.value:.4g} m²"
        line.fault("lift", f"says {total.value:.4g} m² of downforce, but {both}")


def _rest(total: Quantity, one: Quantity, name: str, other: str, words: list[str]) -> Quantity:
    rest = Quantity(total.value - one.value, total.u + one.u, "predicted")
    words.append(f"SCz {name} = total − {other} = {digits(rest.value)} m²{_with_u(rest.u)}")
    return rest


def _by_moment(
    line: RowLine, cell: Measured, flow: Flow, known: tuple[Quantity | None, Quantity], words: list[str]
) -> tuple[Quantity, Quantity]:
    """The total parted by the moment; u of the parts is what the total's and the drag's make of it."""
    (scx, total), said = known, line.said
    if scx is None and said.moment_z_m:
        line.fault("drag", "is empty, and the point of the moment lies above the ground")
    length = said.moment_length_m or said.wheelbase_m
    flip = said.moment_positive == "nose-down"
    to = line.blame("moment", lambda: scaled(cell, flow, said, length_m=length, flip=flip))
    front, rear = axles_by_moment(total.value, to.value, scx.value if scx else 0.0, said)
    wheelbase, x = said.wheelbase_m or 1.0, said.moment_x_m or 0.0
    of_drag = (scx.u if scx else 0.0) * abs(said.moment_z_m) / wheelbase
    words.append(
        f"moment, nose up: {to.words} = {digits(to.value)} m³, about {x:g} m behind the front axle and "
        f"{said.moment_z_m:g} m above the ground, wheelbase {wheelbase:g} m: "
        f"SCz front {digits(front)} m², rear {digits(rear)} m²"
    )
    return (
        Quantity(front, abs(1.0 - x / wheelbase) * total.u + of_drag, "predicted"),
        Quantity(rear, abs(x / wheelbase) * total.u + of_drag, "predicted"),
    )


def u_factor_words(u_is: str) -> str:
    """How stated uncertainties became u, in a sentence."""
    if u_is == "u":
        return "Uncertainties stand in the table as one standard uncertainty."
    over = 1.0 / U_FACTORS[u_is]
    kind = "U95, half of a 95 % interval" if u_is == "u95" else "a grid convergence index, about a 95 % interval"
    return f"Uncertainties stand in the table as {kind}: divided by {over:.4g}."
