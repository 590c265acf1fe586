"""Tank shapes against fluids.geometry (C. Bell, an independent library) and against themselves."""

import math

import pytest
from fluids.geometry import TANK
from hypothesis import example, given
from hypothesis import strategies as st

from brineward.plant.shapes import Box, LyingCylinder, Shape, StrappingTable, UprightCylinder

SHARE = st.one_of(st.just(0.0), st.just(1.0), st.floats(1e-6, 1.0 - 1e-6))
"""Of a height; still nearer to floor and brim the witness's own rounding is more than the rest."""
SIZE = st.floats(0.2, 12.0)
CLOSE = 1e-9


@given(diameter=SIZE, height=SIZE, share=SHARE)
def test_a_standing_cylinder_holds_what_fluids_says(
    diameter: float, height: float, share: float
) -> None:
    """Volume by level of a round tank with a flat floor, to 1e-9 of the whole."""
    witness = TANK(D=diameter, L=height, horizontal=False)
    found = UprightCylinder(diameter_m=diameter).volume_m3(share * height)
    assert found == pytest.approx(witness.V_from_h(share * height), abs=CLOSE * witness.V_total)


@given(diameter=SIZE, length=SIZE, share=SHARE)
def test_a_lying_cylinder_holds_what_fluids_says(
    diameter: float, length: float, share: float
) -> None:
    """Volume by level of a round tank on its side with flat ends, to 1e-9 of the whole."""
    witness = TANK(D=diameter, L=length, horizontal=True)
    found = LyingCylinder(diameter_m=diameter, length_m=length).volume_m3(share * diameter)
    assert found == pytest.approx(witness.V_from_h(share * diameter), abs=CLOSE * witness.V_total)


def test_a_lying_cylinder_at_its_marks() -> None:
    """Empty, half and full are exactly that."""
    tank = LyingCylinder(diameter_m=2.0, length_m=5.0)
    whole = math.pi * 5.0
    assert [tank.volume_m3(level) for level in (0.0, 1.0, 2.0)] == pytest.approx(
        [0.0, whole / 2, whole]
    )
    assert tank.area_m2(0.0) == tank.area_m2(2.0) == 0.0
    assert tank.area_m2(1.0) == pytest.approx(10.0)


@given(diameter=SIZE, share=st.floats(0.0, 1.0))
@example(diameter=3.0, share=0.9999999999999999)
def test_a_lying_cylinder_holds_no_more_than_the_whole(diameter: float, share: float) -> None:
    """Up to the last bit of the brim: what is free of it is no more than its own segment."""
    tank, level = LyingCylinder(diameter_m=diameter, length_m=1.0), share * diameter
    free = math.pi * diameter**2 / 4 - tank.volume_m3(level)
    assert free == pytest.approx(tank.volume_m3(diameter - level), abs=1e-12 * diameter**2)


SHAPES: tuple[Shape, ...] = (
    UprightCylinder(diameter_m=2.4),
    LyingCylinder(diameter_m=2.4, length_m=5.0),
    Box(length_m=7.0, width_m=4.0),
    StrappingTable(levels_m=(0.0, 0.4, 1.2, 2.4), volumes_m3=(0.0, 1.5, 5.4, 10.9)),
)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: type(shape).__name__)
@given(level=st.floats(0.05, 2.35))
def test_the_surface_is_the_slope_of_the_volume(shape: Shape, level: float) -> None:
    """What the level's rise is multiplied by to give a flow is the derivative of the volume."""
    step = 1e-6
    if isinstance(shape, StrappingTable) and min(abs(level - row) for row in (0.4, 1.2)) < 2 * step:
        return
    slope = (shape.volume_m3(level + step) - shape.volume_m3(level - step)) / (2 * step)
    assert slope == pytest.approx(shape.area_m2(level), rel=1e-5)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: type(shape).__name__)
@pytest.mark.parametrize("level", [-1.0, -1e-9, 0.0])
def test_below_the_floor_there_is_nothing(shape: Shape, level: float) -> None:
    """A level sensor that drifts below zero gives no negative volume."""
    assert shape.volume_m3(level) == 0.0


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: type(shape).__name__)
@given(levels=st.tuples(st.floats(-1.0, 4.0), st.floats(-1.0, 4.0)))
def test_more_level_is_never_less_volume(shape: Shape, levels: tuple[float, float]) -> None:
    """Volume rises with the level, over the brim too."""
    low, high = sorted(levels)
    assert shape.volume_m3(low) <= shape.volume_m3(high) + 1e-12


def test_a_strapping_table_holds_its_own_rows_and_lines_between() -> None:
    """At its rows exactly, straight in between and beyond the last."""
    table = StrappingTable(levels_m=(0.0, 1.0, 2.0), volumes_m3=(0.0, 4.0, 6.0))
    levels = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5)
    assert [table.volume_m3(level) for level in levels] == [0.0, 2.0, 4.0, 5.0, 6.0, 7.0]
    assert [table.area_m2(level) for level in (0.5, 1.5, 2.5)] == [4.0, 2.0, 2.0]


@pytest.mark.parametrize(
    ("levels", "volumes"),
    [
        ((0.0,), (0.0,)),
        ((0.0, 1.0), (0.0,)),
        ((0.0, 1.0, 1.0), (0.0, 1.0, 2.0)),
        ((0.0, 1.0, 2.0), (0.0, 2.0, 1.0)),
    ],
)
def test_a_strapping_table_that_does_not_rise_is_refused(
    levels: tuple[float, ...], volumes: tuple[float, ...]
) -> None:
    """Too short, uneven or falling: no table."""
    with pytest.raises(ValueError, match="strapping table"):
        StrappingTable(levels_m=levels, volumes_m3=volumes)
