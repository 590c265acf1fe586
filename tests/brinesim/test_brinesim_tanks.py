"""Tank volumes against the fluids library, and levels back from them."""

import pytest
from fluids.geometry import TANK
from hypothesis import given
from hypothesis import strategies as st

from brinesim.vessels import Vessel, VesselPlan, volume_from_level

LYING = VesselPlan(shape="lying cylinder", diameter_m=2.1, length_m=5.0, brim_m=2.1)
CONE = VesselPlan(shape="cone-bottomed cylinder", diameter_m=2.4, cone_m=0.7, brim_m=3.0)
UPRIGHT = VesselPlan(shape="upright cylinder", diameter_m=2.4, brim_m=2.4)
BOX = VesselPlan(shape="box", length_m=7.0, width_m=4.0, brim_m=0.6)


@pytest.mark.parametrize("level_m", [0.0, 0.05, 0.6, 1.05, 1.9, 2.1])
def test_a_lying_cylinder_holds_what_fluids_says(level_m: float) -> None:
    """The circular segment agrees with fluids' horizontal tank with flat ends."""
    tank = TANK(D=2.1, L=5.0, horizontal=True)
    assert volume_from_level(LYING, level_m) == pytest.approx(tank.V_from_h(level_m), abs=1e-9)


@pytest.mark.parametrize("level_m", [0.1, 0.69, 0.7, 1.4, 2.9])
def test_a_cone_bottom_holds_what_fluids_says(level_m: float) -> None:
    """Cone and cylinder agree with fluids' vertical tank with a conical bottom."""
    tank = TANK(D=2.4, L=3.0, horizontal=False, sideA="conical", sideA_a=0.7)
    assert volume_from_level(CONE, level_m) == pytest.approx(tank.V_from_h(level_m), rel=1e-9)


@pytest.mark.parametrize("level_m", [0.3, 1.2, 2.4])
def test_an_upright_cylinder_holds_what_fluids_says(level_m: float) -> None:
    """The main tank agrees with fluids' vertical tank with a flat bottom."""
    tank = TANK(D=2.4, L=3.0, horizontal=False)
    assert volume_from_level(UPRIGHT, level_m) == pytest.approx(tank.V_from_h(level_m), rel=1e-12)


@given(st.sampled_from([LYING, CONE, UPRIGHT, BOX]), st.floats(0.02, 0.98))
def test_level_comes_back_from_volume(plan: VesselPlan, share: float) -> None:
    """For every shape the level that a volume reaches is the level that it was taken from."""
    level = share * plan.brim_m
    assert Vessel(plan).level_m(volume_from_level(plan, level)) == pytest.approx(level, abs=2e-5)
