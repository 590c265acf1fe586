"""What stands in the containment: displaced liquid, lift and weight, by Archimedes' principle."""

from dataclasses import replace

import pytest

from brineward.physics.density import density
from brineward.plant.buoyancy import (
    OUTSIDE_KG_PER_M3,
    containment_of,
    displaced_m3,
    held_m3,
    lift_kg,
    standing_in_containment,
    weight_kg,
)
from brineward.plant.plan import VesselKind
from brineward.plant.shapes import LyingCylinder
from wet_depot import MAIN_M2, wet_depot, with_hopper


def test_what_lifts_an_empty_tank() -> None:
    """56 mm of 23.3 % brine lifts 300 kg on 2.40 m (300 / (1,176 * 4.524)); the densest a little
    sooner.
    """
    main = wet_depot().vessels["main"]
    assert 1176.0 * displaced_m3(main, 0.0564) == pytest.approx(300.0, rel=0.002)
    assert lift_kg(main, 0.0548) < weight_kg(main, 0.0) < lift_kg(main, 0.0551)


def test_the_liquid_outside_is_taken_for_the_densest() -> None:
    """Saturated brine at 0 degC, 26.3 %; nothing that may be there is denser."""
    assert pytest.approx(density(0.260, 0.0), rel=0.001) == OUTSIDE_KG_PER_M3
    assert density(0.25, 10.0) < OUTSIDE_KG_PER_M3


def test_tanks_take_room_in_the_containment() -> None:
    """28 m2 less 4.52 and 3.14 m2: what rain and leaks have."""
    its = with_hopper(wet_depot())
    containment = containment_of(its)
    assert containment is not None
    assert held_m3(its, containment, 0.1) == pytest.approx(0.1 * (28.0 - 4.5239 - 3.1416), rel=1e-4)
    apart = {name: replace(one, in_containment=False) for name, one in its.vessels.items()}
    assert held_m3(replace(its, vessels=apart), containment, 0.1) == pytest.approx(2.8)


def test_only_what_is_reached_is_displaced() -> None:
    """Over its brim nothing more; on a plinth what is above that; a lying tank by its shape."""
    main = wet_depot().vessels["main"]
    assert displaced_m3(main, 5.0) == pytest.approx(MAIN_M2 * 2.4, rel=1e-4)
    assert displaced_m3(replace(main, raised_m=0.1), 0.1) == 0.0
    assert displaced_m3(replace(main, raised_m=0.1), 0.3) == pytest.approx(0.2 * MAIN_M2, rel=1e-4)
    lying = replace(main, shape=LyingCylinder(diameter_m=2.4, length_m=4.0))
    assert displaced_m3(lying, 1.2) == pytest.approx(MAIN_M2 / 2 * 4.0, rel=1e-4)


def test_what_stands_there() -> None:
    """The tanks and the hopper, not the containment itself; nothing where there is none."""
    its = with_hopper(wet_depot())
    assert {one.id for one in standing_in_containment(its)} == {"main", "hopper"}
    open_air = {n: v for n, v in its.vessels.items() if v.kind is not VesselKind.CONTAINMENT}
    assert standing_in_containment(replace(its, vessels=open_air)) == ()
