"""What a drained vessel still shows."""

from brineward.plant.plan import Vessel, VesselKind

DRAINED_M = 0.10
"""An outlet sits a few centimetres up, and a level sensor over a wet floor has its own error: a
tank or hopper that shows no more than this is drained (common practice, no source)."""

DRAINED_CONTAINMENT_M = 0.05
"""In the containment: an empty plastic tank of 2.4 m and 300 kg floats in 56 mm of brine
(Archimedes; computed)."""


def drained_below_m(vessel: Vessel) -> float:
    """The level in m from the vessel's floor up to which it is taken as drained."""
    return DRAINED_CONTAINMENT_M if vessel.kind is VesselKind.CONTAINMENT else DRAINED_M
