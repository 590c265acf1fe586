"""The depot's mains are lost: by a switch on the supply, or by several outlets at once."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.power import MAINS, PowerTracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

FROST_C = 2.0
"""With the heater off, a shelter cools towards the outdoors: from here down it may freeze, with a
margin for a clear night (common practice, no source)."""

RECORD = AlarmRecord(
    id="mains-lost",
    title="MAINS LOST",
    place=22,
    priority=Priority.MEDIUM,
    danger="lost mains",
    cause="The utility's supply failed, or the depot's main breaker or its feed.",
    consequence="No heat, no loading, and sensors last as long as their batteries. In frost the "
    "water lines freeze within hours. A pump that was left switched on starts by itself when power "
    "returns.",
    response="Ask the utility whether the area is out; if it isn't, an electrician looks at the "
    "supply. Nobody works on a panel in the wet. Switch the pump off at the panel only where that "
    "is dry, so that it doesn't start by itself. In frost drain the water lines: no flame and no "
    "fuel-burning heater in a closed shelter.",
    text_response="Call utility. PANEL dry: pump off. Frost: drain water lines, never burn fuel.",
    text_afterwards="A pump that was left on may be running: check.",
    respond_within="1 hour, sooner in frost",
    respond_seconds=3600.0,
    on_delay_seconds=15.0,
    off_delay_seconds=60.0,
    basis="A quarter of a minute lets a supply that is switched back by itself do so (common "
    "practice, no source). Without a switch on the supply: two outlets or more, all of them dead "
    "within two minutes of each other, and the longest period of those that are only polled. Of "
    "high priority where a shelter may freeze: at {2 degC} outdoors or less. Quiet while laid up: "
    "the power may be switched off then, and nothing is heated or loaded. A containment that fills "
    "is judged as long as its sensor has power; if all sensors are without it, that nothing is "
    "watched is texted once.",
    suppressed_by=("depot-silent", "link-lost"),
    quiet_in=(Mode.LAID_UP,),
)

IN_FROST = "Call utility. Drain water lines. Never burn fuel inside. PANEL dry: pump off."
"""What to do in a text where the shelter may freeze: that is the nearer danger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLost(Finding):
    """No mains at the depot."""

    since: Instant
    likely: bool
    """Only outlets show it."""
    frost: bool
    """The shelter may freeze."""


class MainsLost(Condition[PowerLost]):
    """The supply is dead, or all outlets went dead together."""

    def __init__(self, site: Site, power: PowerTracker) -> None:
        self._power = power
        self._shelter = site.plan.has_shelter
        outdoors = site.plan.sensor_of(Measure.TEMPERATURE, "outdoors")
        self._outdoors = None if outdoors is None else site.trackers.sensors[outdoors.id]
        outlets = tuple(power.outlets.values())
        self._by = outlets if power.mains is None else (power.mains,)
        super().__init__(site, MAINS, PowerLost, judged_after=self._by)
        self.on_delay_at_least = max(
            (s.plan.every_seconds + 1.0 for s in self._by if not s.plan.on_change), default=0.0
        )

    def at_rest(self) -> bool:
        """All that is watched has power, by switches that are to be believed."""
        return self._power.lost_since is None and not any(one.implausible for one in self._by)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it lost? A switch that is silent says nothing."""
        unheard = [s.plan.id for s in self._by if s.believed(now) is None]
        if unheard:
            return Verdict.unknown(
                f"{self.units.name_of(unheard[0])} has not reported, is silent or implausible",
                *unheard,
            )
        since = self._power.lost_since
        if since is None:
            return CLEAR
        frost = self._frost(now)
        finding = PowerLost(
            priority=Priority.HIGH if frost else None,
            since=since,
            likely=self._power.mains is None,
            frost=frost,
        )
        return Verdict(True, finding)

    def _frost(self, now: Instant) -> bool:
        """May the shelter freeze? Not known is no: its own alarm watches it besides."""
        outdoors = None if self._outdoors is None else self._outdoors.believed(now)
        return self._shelter and outdoors is not None and outdoors <= FROST_C

    def words(self, finding: PowerLost, now: Instant) -> Words:
        """That it is lost or likely so, and whether that freezes the shelter."""
        return Words(
            "mains power likely lost" if finding.likely else "mains power lost",
            time_left=f"{self.units.name_of('shelter')} may freeze" if finding.frost else "",
            detail="no outlet has power" if finding.likely else "",
            past="mains power was lost",
            response=IN_FROST if finding.frost else "",
        )


def _conditions(site: Site) -> Iterator[MainsLost]:
    power = site.trackers.power
    if power.mains is not None or len(power.outlets) > 1:
        yield MainsLost(site, power)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    helps = f'a power switch on the supply (at = "{MAINS}")'
    power = [s for s in plan.sensors.values() if s.measures is Measure.POWER]
    supply = [s.id for s in power if s.at == MAINS and MAINS not in plan.pumps]
    if supply:
        yield Coverage(RECORD.id, MAINS, "covered", (supply[0],))
    elif len({s.at for s in power}) > 1:
        yield Coverage(RECORD.id, MAINS, "indirect", tuple(s.id for s in power), helps)
    else:
        yield Coverage(RECORD.id, MAINS, "blind", (), helps)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
