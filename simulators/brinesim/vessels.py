"""Tanks: from the volume in them to the level, and back."""

import math
from bisect import bisect_right
from typing import Literal, Self

from pydantic import Field, model_validator

from brinesim.parts import Part

ShapeName = Literal["upright cylinder", "box", "lying cylinder", "cone-bottomed cylinder"]


class VesselPlan(Part):
    """One tank's shape and marks, inside measures in m."""

    shape: ShapeName = "upright cylinder"
    diameter_m: float = Field(default=2.4, gt=0)
    length_m: float = Field(default=1.0, gt=0)
    width_m: float = Field(default=1.0, gt=0)
    cone_m: float = Field(default=0.0, ge=0)
    brim_m: float = Field(default=2.4, gt=0)

    @model_validator(mode="after")
    def _is_a_vessel(self) -> Self:
        if self.shape == "lying cylinder" and self.brim_m > self.diameter_m:
            raise ValueError("brim_m is over the top of the lying cylinder, its diameter_m")
        if self.shape == "cone-bottomed cylinder" and self.cone_m > self.brim_m:
            raise ValueError("cone_m is over brim_m: expected a cone under a cylinder")
        return self


def volume_from_level(plan: VesselPlan, level_m: float) -> float:
    """The volume in m3 below a level in m; 0 below the floor."""
    level = max(0.0, level_m)
    if plan.shape == "box":
        return plan.length_m * plan.width_m * level
    area = math.pi * plan.diameter_m**2 / 4
    if plan.shape == "upright cylinder":
        return area * level
    if plan.shape == "cone-bottomed cylinder":
        if level < plan.cone_m:
            return area * (level / plan.cone_m) ** 2 * level / 3
        return area * (plan.cone_m / 3 + level - plan.cone_m)
    radius = plan.diameter_m / 2
    level = min(level, plan.diameter_m)
    segment = radius**2 * math.acos(1 - level / radius) - (radius - level) * math.sqrt(
        max(0.0, level * (plan.diameter_m - level))
    )
    return plan.length_m * segment


class Vessel:
    """A tank as the plant uses it: level from volume, fast."""

    def __init__(self, plan: VesselPlan) -> None:
        """Builds the inverse: exact for straight walls, a table of 4,001 rows for round floors."""
        self.plan = plan
        self.brim_m = plan.brim_m
        self._area = 0.0
        self._volumes: list[float] = []
        self._step = 0.0
        if plan.shape == "upright cylinder":
            self._area = math.pi * plan.diameter_m**2 / 4
        elif plan.shape == "box":
            self._area = plan.length_m * plan.width_m
        else:
            top = plan.diameter_m if plan.shape == "lying cylinder" else plan.brim_m * 1.2
            self._step = top / 4000
            self._volumes = [volume_from_level(plan, i * self._step) for i in range(4001)]

    def volume_m3(self, level_m: float) -> float:
        """The volume in m3 below a level in m."""
        return volume_from_level(self.plan, level_m)

    def level_m(self, volume_m3: float) -> float:
        """The level in m that a volume in m3 reaches; 0 for none."""
        if volume_m3 <= 0:
            return 0.0
        if self._area:
            return volume_m3 / self._area
        volumes = self._volumes
        if volume_m3 > volumes[-1]:
            # What runs over stands on top for a moment, as on a tank with upright walls.
            top = self._step * (len(volumes) - 1)
            return top * volume_m3 / volumes[-1]
        row = min(max(bisect_right(volumes, volume_m3) - 1, 0), len(volumes) - 2)
        rise = volumes[row + 1] - volumes[row]
        if rise <= 0:
            return row * self._step
        return (row + min(1.0, (volume_m3 - volumes[row]) / rise)) * self._step
