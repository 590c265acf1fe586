"""Several pumps on one vessel: what the fall of its level can show of one of them. Pure."""

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from brineward.plant.plan import DepotPlan, Measure, Pump
from brineward.plant.pump_run import PumpRun, slowest_fall_m_per_s
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import Instant

WORN_SHARE = 0.75
"""Of its own flow a worn pump still delivers so much, alone or beside others on one suction (common
practice, no source)."""

TOLD_SHARE = 0.45
"""Of a lone pump's slowest fall: less, and it delivers nothing. What lies between the falls that
are to be told apart is held to the same share."""


class Drawing(Protocol):
    """A pump that may draw from the same vessel."""

    pump: Pump
    switch: SensorTracker
    running: bool | None
    run: PumpRun

    def unknown(self, now: Instant) -> str:
        """Why it is not known whether it runs; empty if it is."""

    def stood(self, since: Instant, now: Instant) -> bool:
        """Is it known to have been stopped from `since` to now?"""


class Untold(NamedTuple):
    """Why the level can't show whether one pump delivers, and the switch that is to blame."""

    why: str
    sensor: str = ""


class SharedVessel:
    """One pump, and the others that draw from its vessel.

    While others draw, the level falls though this one delivers nothing. It delivers too if the
    level falls by more than half way between the most that the others make of it, without a fill,
    and the least that all of them make while they are worn, with the fill.
    """

    def __init__(self, plan: DepotPlan, pump: Pump) -> None:
        vessel = plan.vessels[pump.draws_from]
        self._pump = pump
        self._fills = sum(fill.flow_m3_per_s for fill in plan.fills if fill.into == vessel.id)
        self._area_m2 = vessel.shape.area_m2(vessel.brim_m / 2)
        self.alone_m_per_s = slowest_fall_m_per_s(plan, pump)
        """The slowest fall that it makes by itself, with the fill running; 0: it can't be told."""
        self.others: Sequence[Drawing] = ()
        """Those with a switch that shows whether they run."""
        self.unseen: list[str] = [
            plan.name_of(one.id)
            for one in plan.pumps.values()
            if one.id != pump.id
            and one.draws_from == vessel.id
            and plan.sensor_of(Measure.RUNNING, one.id) is None
        ]
        """What people call those without one."""

    @property
    def running(self) -> list[Drawing]:
        """The others that run, as far as is known."""
        return [one for one in self.others if one.running]

    def _most_of_others(self) -> float:
        return sum(one.pump.flow_m3_per_s for one in self.others if one.running) / self._area_m2

    def wanted_m_per_s(self) -> float | None:
        """The fall above which it and all that run beside it deliver, m/s; None: it can't be told.

        Alone, that is `TOLD_SHARE` of its slowest.
        """
        if not self.running:
            return TOLD_SHARE * self.alone_m_per_s if self.alone_m_per_s else None
        others = self._most_of_others()
        all_of_them = others + self._pump.flow_m3_per_s / self._area_m2
        least = WORN_SHARE * all_of_them - self._fills / self._area_m2
        return (others + least) / 2 if least > others else None

    def to_be_told_m_per_s(self) -> float:
        """What the fall's uncertainty is held against, m/s: a lone pump's slowest fall, or less
        where it has to be told from the fall that others make."""
        wanted = self.wanted_m_per_s()
        if wanted is None or not self.running:
            return self.alone_m_per_s
        return min(self.alone_m_per_s, (wanted - self._most_of_others()) / TOLD_SHARE)

    def untold(self, now: Instant) -> Untold | None:
        """Why the level can't show whether it delivers; None if it can."""
        for one in self.others:
            why = one.unknown(now)
            if why:
                return Untold(why, one.switch.plan.id)
        if self.unseen:
            return Untold(f"{self.unseen[0]} may draw too")
        if self.running and self.wanted_m_per_s() is None:
            return Untold("the level can't show it while another pump draws so much")
        return None
