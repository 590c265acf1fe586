"""Tank shapes: level to volume and back."""

import math
from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, slots=True, kw_only=True)
class UprightCylinder:
    """A standing round tank. `diameter_m` is inside, in m, above 0."""

    diameter_m: float

    def area_m2(self, level_m: float) -> float:
        """The liquid's surface at a level, in m2."""
        return math.pi * self.diameter_m**2 / 4

    def volume_m3(self, level_m: float) -> float:
        """The volume up to a level, in m3; 0 below the floor."""
        return self.area_m2(level_m) * max(0.0, level_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A tank with a flat rectangular floor and upright walls; sides in m, above 0."""

    length_m: float
    width_m: float

    def area_m2(self, level_m: float) -> float:
        """The liquid's surface at a level, in m2."""
        return self.length_m * self.width_m

    def volume_m3(self, level_m: float) -> float:
        """The volume up to a level, in m3; 0 below the floor."""
        return self.length_m * self.width_m * max(0.0, level_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class LyingCylinder:
    """A round tank on its side with flat ends; `diameter_m` and `length_m` inside, above 0."""

    diameter_m: float
    length_m: float

    def area_m2(self, level_m: float) -> float:
        """The liquid's surface at a level, in m2; 0 at the bottom and the top."""
        level = min(max(level_m, 0.0), self.diameter_m)
        return self.length_m * 2 * math.sqrt(level * (self.diameter_m - level))

    def volume_m3(self, level_m: float) -> float:
        """The volume up to a level, in m3 (circular segment times length)."""
        radius = self.diameter_m / 2
        level = min(max(level_m, 0.0), self.diameter_m)
        half_chord = math.sqrt(level * (self.diameter_m - level))
        # By the angle's tangent: its cosine says nothing of it at the bottom and the top.
        angle = math.atan2(half_chord, radius - level)
        segment = radius**2 * angle - (radius - level) * half_chord
        # A level of no more than a rounding error gives one of its own.
        return self.length_m * max(0.0, segment)


@dataclass(frozen=True, slots=True, kw_only=True)
class StrappingTable:
    """A tank measured by filling it: levels in m (from 0, rising) and volumes in m3 (rising)."""

    levels_m: tuple[float, ...]
    volumes_m3: tuple[float, ...]

    def __post_init__(self) -> None:
        """Raises: ValueError where the table has under two rows or does not rise."""
        if len(self.levels_m) != len(self.volumes_m3) or len(self.levels_m) < 2:
            raise ValueError("a strapping table needs two rows or more, each a level and a volume")
        for column in (self.levels_m, self.volumes_m3):
            if any(b <= a for a, b in pairwise(column)):
                raise ValueError("a strapping table must rise from row to row")

    def _row(self, level_m: float) -> int:
        return min(max(bisect_right(self.levels_m, level_m) - 1, 0), len(self.levels_m) - 2)

    def area_m2(self, level_m: float) -> float:
        """The liquid's surface at a level, in m2: the slope of the table there."""
        row = self._row(level_m)
        rise = self.levels_m[row + 1] - self.levels_m[row]
        return (self.volumes_m3[row + 1] - self.volumes_m3[row]) / rise

    def volume_m3(self, level_m: float) -> float:
        """The volume up to a level, in m3, straight between rows and beyond the last."""
        row = self._row(level_m)
        above = level_m - self.levels_m[row]
        return max(0.0, self.volumes_m3[row] + above * self.area_m2(level_m))


Shape = UprightCylinder | LyingCylinder | Box | StrappingTable
