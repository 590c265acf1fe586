"""Tern Hollow in its containment, for tests: what stands there, its sensors, and liquid outside."""

from dataclasses import replace

from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.shapes import Box, UprightCylinder
from depots import plan, sensor
from engine.scripted import World

FLOOR_M2 = 28.0
MAIN_M2 = 4.5239
"""Of the tank's 2.40 m."""
AROUND_M2 = FLOOR_M2 - MAIN_M2


def wet_depot(*more: str, **changes: object) -> DepotPlan:
    """One tank of 300 kg in a containment of 7 m by 4 m; `more` sensors besides the two levels."""
    plain = plan()
    main = replace(plain.vessels["main"], empty_mass_kg=300.0)
    around = Vessel(
        id="containment",
        kind=VesselKind.CONTAINMENT,
        shape=Box(length_m=7.0, width_m=4.0),
        brim_m=0.6,
    )
    known = (
        sensor("level", Measure.LEVEL, "main", low=-0.1, high=2.6, standard_uncertainty=0.0017),
        sensor("outside", Measure.LEVEL, "containment", standard_uncertainty=0.0017),
        sensor("outdoors", Measure.TEMPERATURE, "outdoors", standard_uncertainty=0.3),
        sensor("sump", Measure.CONDUCTIVITY, "containment", low=0.0, standard_uncertainty=0.1),
        plain.sensors["running"],
    )
    kept = {one.id: one for one in known if one.id in {"level", "outside", *more}}
    vessels = {"main": main, "containment": around}
    return replace(plain, vessels=vessels, sensors=kept, fills=(), **changes)


def with_hopper(its: DepotPlan) -> DepotPlan:
    """The same with a hopper beside the tank, of which nothing is measured."""
    shape = UprightCylinder(diameter_m=2.0)
    hopper = Vessel(id="hopper", kind=VesselKind.HOPPER, shape=shape, brim_m=1.8)
    return replace(its, vessels={**its.vessels, "hopper": hopper})


class WetWorld(World):
    """A world in which liquid runs into the containment, and stands around the tank."""

    def __init__(self, outside: float = 0.0, **values: float) -> None:
        super().__init__(**values)
        self.outside, self.gain, self.outdoors, self.sump = outside, 0.0, -5.0, 0.0
        """m, m3/s into the containment, degC, S/m."""
        self.noise = {"level": 0.0012, "outside": 0.0008}

    def step(self) -> None:
        """A second passes."""
        super().step()
        self.outside = max(0.0, self.outside + self.gain / AROUND_M2)

    def truth(self, sensor: str) -> float:
        """What a perfect sensor reads."""
        mine = {"outside": self.outside, "outdoors": self.outdoors, "sump": self.sump}
        return mine[sensor] if sensor in mine else super().truth(sensor)
