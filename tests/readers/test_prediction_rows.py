"""From what CFD gives to areas: worked lines, round trips between conventions, and rows that are refused by name."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.readers.prediction_areas import axles_by_moment
from server.readers.prediction_reading import Conventions, Reading, lacks, proposed_reading
from server.readers.prediction_rows import predicted_rows
from server.readers.prediction_table import GivenTable, read_table
from server.testday.predicted import PredictedRow
from server.testday.values import PredictionCase, Quantity

NORMAL_95 = 1.959964
AREAS = st.floats(0.05, 4.0).map(lambda value: round(value, 6))
SPEEDS = st.floats(8, 60).map(lambda value: round(value, 3))
DENSITIES = st.floats(0.9, 1.4).map(lambda value: round(value, 4))


def table(text: str) -> GivenTable:
    return read_table("t.csv", text.encode())


def rows(text: str, **said: object) -> tuple[PredictedRow, ...]:
    one = table(text)
    reading = proposed_reading(one)
    reading = replace(reading, conventions=replace(reading.conventions, **said))  # type: ignore[arg-type]
    assert list(lacks(one, reading)) == []
    return predicted_rows(one, reading)


def case(text: str, **said: object) -> PredictionCase:
    (row,) = rows(text, **said)
    assert row.case is not None, row.problem
    return row.case


def values(one: PredictionCase) -> list[float | None]:
    areas = (one.scx_m2, one.scz_front_m2, one.scz_rear_m2, one.scz_m2)
    return [None if area is None else area.value for area in areas]


def test_the_line_of_the_help() -> None:
    """Worked by hand there: half a car, lift up, moment about the middle of the wheelbase."""
    one = case(
        "Config;Cd;Cl;Cm\nB;1,20;-2,90;-0,10\n",
        reference_area_m2=0.55, car="half", wheelbase_m=1.54, moment_x_m=0.77, moment_positive="nose-up",
    )  # fmt: skip
    assert values(one)[:3] == pytest.approx([1.32, 1.705, 1.485])
    assert one.downforce_m2 is not None
    assert one.downforce_m2.value == pytest.approx(3.19)


def test_the_moment_splits_as_sae_j1594_does() -> None:
    """C_Lf = C_L/2 + C_PM and C_Lr = C_L/2 − C_PM, lift and nose up positive, about the ground under the middle of
    the wheelbase (SAE J1594, from memory)."""
    lift, moment, wheelbase = -1.2, 0.15, 1.6
    said = Conventions(wheelbase_m=wheelbase, moment_x_m=wheelbase / 2)
    front, rear = axles_by_moment(-lift, moment * wheelbase, 0.9, said)
    assert (-front, -rear) == pytest.approx((lift / 2 + moment, lift / 2 - moment))


def test_the_moment_may_be_taken_anywhere() -> None:
    """A drag D at height h and downforces at the axles make one moment about any point: the same split comes back."""
    wheelbase, front, rear, drag, height = 1.55, 1.4, 1.9, 1.3, 0.32
    for x, z in ((0.0, 0.0), (0.7, 0.0), (0.7, 0.3), (-1.0, 0.8), (2.0, 0.1)):
        aero_front = front + drag * height / wheelbase  # without the drag's own pitching moment
        aero_rear = rear - drag * height / wheelbase
        nose_up = drag * (height - z) + aero_front * (-x) + aero_rear * (wheelbase - x)
        said = Conventions(wheelbase_m=wheelbase, moment_x_m=x, moment_z_m=z)
        assert axles_by_moment(front + rear, nose_up, drag, said) == pytest.approx((front, rear))


def test_forces_at_a_speed_and_density() -> None:
    header = "Case,Speed [km/h],Density [kg/m3],Drag [N],Downforce front [N],Downforce rear [N]"
    one = case(f"{header}\nA,72,1.2,288,384,432 N\n")
    assert values(one) == pytest.approx([1.2, 1.6, 1.8, None])
    assert one.speed_mps == pytest.approx(20.0)


def test_a_total_alone_says_that_it_has_no_split() -> None:
    one = case("Case,SCx [m2],Downforce [m2]\nA,1.2,3.4\n")
    assert values(one) == [1.2, None, None, 3.4]
    assert not one.has_split
    assert one.downforce_m2 == Quantity(3.4, 0.0, "predicted")


@pytest.mark.parametrize(
    ("text", "front", "rear"),
    [
        ("Case,Downforce [m2],Balance [%]\nA,3.4,45\n", 1.53, 1.87),
        ("Case,Downforce [m2],Aero balance\nA,3.4,0.45\n", 1.53, 1.87),
        ("Case,Downforce [m2],Front downforce [m2]\nA,3.4,1.53\n", 1.53, 1.87),
        ("Case,Downforce [m2],Rear downforce [m2]\nA,3.4,1.87\n", 1.53, 1.87),
        ("Case,Lift [m2],Lift front [m2],Lift rear [m2]\nA,-3.4,-1.53,-1.87\n", 1.53, 1.87),
    ],
)
def test_ways_to_say_the_axles(text: str, front: float, rear: float) -> None:
    assert values(case(text))[1:3] == pytest.approx([front, rear])


@pytest.mark.parametrize(
    ("header", "cell", "u_is", "u"),
    [
        ("u Cd [%]", "2", "u", 0.02 * 1.32),
        ("u Cd [%]", "2", "gci", 0.02 * 1.32 / 1.15),
        ("u Cd", "0.03", "u95", 0.03 * 1.1 / NORMAL_95),
    ],
)
def test_stated_uncertainties(header: str, cell: str, u_is: str, u: float) -> None:
    one = case(f"Case,Cd,{header}\nA,1.2,{cell}\n", reference_area_m2=1.1, u_is=u_is)
    assert one.scx_m2 == Quantity(pytest.approx(1.32), pytest.approx(u), "predicted")  # type: ignore[arg-type]


def test_the_total_keeps_its_own_u() -> None:
    one = case("Case,Downforce [m2],Balance,u Downforce [m2]\nA,3.4,0.45,0.1\n")
    assert one.downforce_m2 is not None
    assert one.downforce_m2.u == pytest.approx(0.1)
    assert one.scz_front_m2 is not None
    assert one.scz_front_m2.u == pytest.approx(0.045)


@settings(max_examples=60, deadline=None)
@given(st.tuples(AREAS, AREAS, AREAS), AREAS, SPEEDS, DENSITIES)
def test_every_convention_gives_the_same_areas(
    areas_m2: tuple[float, float, float], area: float, speed: float, density: float
) -> None:
    """Areas written as areas, coefficients, forces; of half the car; lift up; with total and share: and read back."""
    (scx, front, rear), q = areas_m2, 0.5 * density * speed**2
    areas = f"Case,SCx [m2],SCz front [m2],SCz rear [m2]\nA,{scx!r},{front!r},{rear!r}\n"
    coefficients = f"Case,Cd,Clf,Clr,Aref [m2]\nA,{scx / area!r},{-front / area!r},{-rear / area!r},{area!r}\n"
    half = f"Case,Cd,Clf,Clr\nA,{scx / area / 2!r},{-front / area / 2!r},{-rear / area / 2!r}\n"
    forces = f"Case,Drag [N],Lift front [N],Lift rear [N]\nA,{scx * q!r},{-front * q!r},{-rear * q!r}\n"
    share = f"Case,SCx [m2],Downforce [m2],Balance [%]\nA,{scx!r},{front + rear!r},{100 * front / (front + rear)!r}\n"
    said = {"density_kgm3": density, "speed_mps": speed}
    read = [
        case(areas),
        case(coefficients),
        case(half, car="half", reference_area_m2=area),
        case(forces, **said),
        case(share),
    ]
    for one in read:
        assert values(one)[:3] == pytest.approx([scx, front, rear], rel=1e-9)


BAD = [
    ("Case,Cd [m2],RH front [mm]\nA,1.2,n/c\n", "Line 2, “RH front [mm]”: holds “n/c”, which is no number."),
    ("Case,Cd [m2],RH front [mm]\nA,1.2,3000\n", "Line 2, “RH front [mm]”: gives 3000 mm for a ride height; it must"),
    ("Case,Drag [m2],Yaw\nA,12.3 oops,0\n", "Line 2, “Drag [m2]”: has the unit “oops”, which is not known here."),
    ("Case,Drag [m2]\nA,12.3 kg\n", "Line 2, “Drag [m2]”: has the unit “kg”, which is not a unit of area or a plain"),
    ("Case,Drag [m2]\nA,142\n", "Line 2, “Drag [m2]”: gives 142 m² for a drag area; it must lie between -5 and 20 m²."),
    ("Case,Drag [m2],Yaw\n,1.2,3\n", "Line 2, “Case”: is empty; a case belongs to one."),
    ("Case,Drag [m2],Yaw\nA,,3\n", "Line 2: neither drag nor lift nor downforce stands in it."),
    ("Case,Drag [m2],Yaw,u Drag [m2]\nA,1.2,3,-0.1\n", "Line 2, “u Drag [m2]”: is an uncertainty below 0."),
    (f"Case,Drag [m2]\n{'A' * 90},1.2\n", "Line 2, “Case”: has 90 signs; 80 are taken."),
    ("Case,Downforce [m2],Front downforce [m2],Rear downforce [m2]\nA,3.4,1.5,1.5\n",
     "Line 2, “Downforce [m2]”: says 3.4 m² of downforce, but front and rear add up to 3 m²."),
    ("Case,Downforce [m2],Balance [%]\nA,3.4,-900\n", "Line 2, “Balance [%]”: says that -900 % of the downforce"),
    ("Tap,Setup,Cp\nP1,A,-300\n", "Line 2, “Cp”: is -300, which no pressure coefficient of a car is."),
    ("Tap,Setup,Cp\n,A,-0.3\n", "Line 2, “Tap”: is empty; a case belongs to one."),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), BAD)
def test_a_bad_row_is_named_with_its_line_and_cell(text: str, sentence: str) -> None:
    (row,) = rows(text)
    assert not row.taken
    assert row.problem.startswith(sentence)


def test_the_same_case_twice_is_not_guessed_at() -> None:
    found = rows("Case,Drag [m2],Yaw\nA,1.2,0\nA,1.3,0\nA,1.4,3\n")
    assert [row.taken for row in found] == [True, False, True]
    assert found[1].problem.startswith("Line 3 is the case of line 2 once more")


def test_taps() -> None:
    (row,) = rows("Tap,Setup,Cp,u_Cp,RH front [mm]\nP1,A,-0.31,0.02,30\n")
    assert row.tap is not None
    assert (row.tap.tap, row.tap.cp, row.tap.u, row.tap.front_ride_height_m) == ("P1", -0.31, 0.02, 0.03)


LACKING = [
    ("Case,Cd\nA,1.2\n", "reference area"),
    ("Case,Drag [N]\nA,1.2\n", "air speed"),
    ("Case,Drag [N],Speed [m/s]\nA,1.2,20\n", "air density"),
    ("Case,Cz [m2]\nA,1.2\n", "lift or downforce is positive"),
    ("Cd [m2],RH front [mm]\n1.2,30\n", "which setup"),
    ("Case,RH front [mm]\nA,30\n", "which column is the drag"),
    ("Case,Drag\nA,1.2\n", "say its unit"),
    ("Cp,Setup\n-0.3,A\n", "names the pressure taps"),
    ("Case,Downforce [m2],Cm\nA,3.4,0.1\n", "wheelbase"),
]


@pytest.mark.parametrize(("text", "sentence"), LACKING)
def test_what_must_be_said_is_asked_for_and_not_guessed(text: str, sentence: str) -> None:
    one = table(text)
    assert any(sentence in told for _, told in lacks(one, proposed_reading(one)))


def test_a_role_twice_is_asked_about() -> None:
    one = table("Case,Cd [m2],Cd2 [m2]\nA,1.2,1.3\n")
    reading = proposed_reading(one)
    both = Reading((reading.columns[0], reading.columns[1], reading.columns[1]), ".", reading.conventions)
    assert [told for _, told in lacks(one, both)] == ["2 columns are called drag; one can be."]


def test_a_height_in_millimetres_is_the_same_number_as_in_a_day_folder() -> None:
    one = case("Case,SCx [m2],RH front [mm]\nA,1.2,26\n")
    assert one.front_ride_height_m == 0.026  # 26 · 0.001 is 0.026000000000000002
