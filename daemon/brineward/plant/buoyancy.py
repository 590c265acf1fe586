"""Buoyancy of what is in the containment: the liquid a tank displaces, and what holds it down.

Archimedes' principle: liquid lifts a tank by the weight of the liquid that the tank displaces; it
floats if that is more than the tank and its contents weigh. Masses in kg are used for weights,
since gravity is on both sides.
"""

from brineward.plant.plan import DepotPlan, Vessel, VesselKind

OUTSIDE_KG_PER_M3 = 1207.0
"""Which liquid is outside isn't known: the densest, saturated brine in the cold, lifts most (26 %
by mass at 0 degC: Perry's)."""
INSIDE_KG_PER_M3 = 1000.0
"""What is inside may be water, when a tank is flushed: the lightest holds it down least."""
SALT_KG_PER_M3 = 1000.0
"""A bed of salt with its gaps weighs more: loose road salt is given as 1.15 to 1.3 t/m3 (common
practice, no source)."""
EMPTY_KG_PER_M3 = 18.0
"""An empty tank of moulded polyethylene by the volume up to its brim, where the config gives none:
the lighter end of what makers' lists give for 1 to 20 m3, 18 to 33 kg/m3 (common practice, no
source; from memory). Steel and fiberglass are heavier."""


def containment_of(plan: DepotPlan) -> Vessel | None:
    """The depot's containment; None where it has none."""
    kinds = (one for one in plan.vessels.values() if one.kind is VesselKind.CONTAINMENT)
    return next(kinds, None)


def standing_in_containment(plan: DepotPlan) -> tuple[Vessel, ...]:
    """The tanks and the hopper that stand in the containment; none where there is none."""
    if containment_of(plan) is None:
        return ()
    return tuple(
        vessel
        for vessel in plan.vessels.values()
        if vessel.kind is not VesselKind.CONTAINMENT and vessel.in_containment
    )


def empty_mass_kg(vessel: Vessel) -> float:
    """What the vessel weighs empty, as the config has it or else by its size; above 0."""
    if vessel.empty_mass_kg is not None:
        return vessel.empty_mass_kg
    return EMPTY_KG_PER_M3 * vessel.shape.volume_m3(vessel.brim_m)


def displaced_m3(vessel: Vessel, outside_m: float) -> float:
    """What a vessel displaces of liquid this high above the containment's floor, m3.

    By its inside measures, up to its brim. Its wall, a hundredth more, is far less than what the
    densest liquid is taken for.
    """
    depth = min(outside_m - vessel.raised_m, vessel.brim_m)
    return vessel.shape.volume_m3(depth) if depth > 0.0 else 0.0


def lift_kg(vessel: Vessel, outside_m: float) -> float:
    """What the liquid outside lifts at most, kg."""
    return OUTSIDE_KG_PER_M3 * displaced_m3(vessel, outside_m)


def weight_kg(vessel: Vessel, inside_m: float, salt_m: float = 0.0) -> float:
    """What the vessel weighs at least, kg, filled to a level or with a bed of salt that high."""
    liquid = INSIDE_KG_PER_M3 * vessel.shape.volume_m3(max(0.0, inside_m))
    salt = SALT_KG_PER_M3 * vessel.shape.volume_m3(salt_m) if salt_m > 0.0 else 0.0
    return empty_mass_kg(vessel) + max(liquid, salt)


def held_m3(plan: DepotPlan, containment: Vessel, level_m: float) -> float:
    """How much liquid the containment holds up to a level, around the vessels in it; m3."""
    whole = containment.shape.volume_m3(level_m)
    return max(
        0.0, whole - sum(displaced_m3(one, level_m) for one in standing_in_containment(plan))
    )
