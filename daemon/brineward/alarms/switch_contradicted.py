"""A switch of a pump or a valve says what other sensors show to be wrong."""

from collections.abc import Iterable, Iterator

from brineward.alarms.condition import Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.plant.left_open import STAYS_OPEN
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="switch-contradicted",
    title="SWITCH CONTRADICTED",
    place=118,
    priority=Priority.LOW,
    graver_where_it_blinds=True,
    cause="A switch that is stuck, has come loose, or is wired the other way round; or a valve "
    "that was left open.",
    consequence="It is ignored until it changes or is shown right: a closed valve or a pump left "
    "running is seen late, by the level, or not at all.",
    response="Check the switch and its wiring with the pump locked out. Until it is right, check "
    "on site what it watches.",
    text_response="Pump off (PANEL), lock it, check its switch. Till fixed, look on site.",
    respond_within="the next working morning, or at once where it blinds a high alarm",
    on_delay_seconds=15.0,
    off_delay_seconds=30.0,
    basis="A valve said to be shut while its hose's meter shows a quarter of the pump's flow for "
    "half a minute and the pump isn't known to be stopped. A pump said to be stopped while it "
    "draws half its usual current, or its meter shows 70 % of its flow, for a minute: no tank's "
    "height makes so much. A pump said to run for three minutes while it draws under four standard "
    "uncertainties of current and there is no flow, no pressure of its own or no power. Used again "
    "once it changes, once the pump draws current after all, or once nothing flows for half a "
    "minute while the pump runs. A valve that was shut after each of five loads and is still said "
    "to be open six hours after another: its switch is stuck, or it was left open, and it is "
    "texted when people are awake. All common practice, no source.",
    suppressed_by=("depot-silent", "link-lost"),
)

SHUT_THE_VALVE = "Pump off (PANEL), THEN shut valve. Shut already? Its switch is stuck."
"""A valve that was left open is likelier than a switch that is stuck there."""
TILL_MORNING = 12 * HOUR
"""No harm comes of that by itself: what drains through it is found by the tank's level, and a pump
against a closed valve by what else there is. Nobody is woken for it."""


class SwitchContradicted(Condition[Explained]):
    """Others show that a switch is wrong; until it changes or is shown right it isn't believed."""

    def __init__(self, site: Site, switch: SensorTracker, beside: Iterable[Tracker]) -> None:
        self._switch = switch
        super().__init__(site, switch.plan.id, Explained, judged_after=(switch, *beside))

    def at_rest(self) -> bool:
        """Nothing is said against it."""
        return not self._switch.contradicted

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it contradicted?"""
        why = self._switch.contradicted
        if why == STAYS_OPEN:
            return Verdict(True, Explained(why=why, waits_until=now + TILL_MORNING))
        return Verdict.explained(why)

    def words(self, finding: Explained, now: Instant) -> Words:
        """What it says, and what is."""
        switch = f"{self.units.name_of(self._switch.plan.at)}: its switch"
        if finding.why == STAYS_OPEN:
            past = f"{switch} said open for long"
            return Words(f"{switch} {finding.why}", past=past, response=SHUT_THE_VALVE)
        return Words(f"{switch} {finding.why}", past=f"{switch} was contradicted")


def _conditions(site: Site) -> Iterator[SwitchContradicted]:
    sensors = site.trackers.sensors
    beside: dict[str, dict[str, Tracker]] = {}
    for watch in site.trackers.switches:
        others = beside.setdefault(watch.switch.plan.id, {})
        others.update((name, sensors[name]) for name in watch.takes)
    for switch, others in beside.items():
        others.pop(switch)
        yield SwitchContradicted(site, sensors[switch], others.values())


ALARM = Alarm(record=RECORD, conditions=_conditions)
