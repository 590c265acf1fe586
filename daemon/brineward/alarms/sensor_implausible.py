"""A sensor reports what can't be, or shows by its course that it can't be believed."""

from dataclasses import dataclass, replace

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.alarms.sensor_silent import unwatched
from brineward.plant.plan import SI_UNITS
from brineward.plant.sensors import SensorTracker
from brineward.plant.spikes import WINDOW
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="sensor-implausible",
    title="SENSOR IMPLAUSIBLE",
    place=120,
    priority=Priority.LOW,
    graver_where_it_blinds=True,
    cause="A broken sensor or cable, a wrong unit or payload, a probe in air; a sensor that is "
    "stuck or throws wild readings; a thermometer out of its brine; a current's clamp that "
    "has come off.",
    consequence="What it watches is blind; with wild readings it goes on.",
    response="Check sensor and cable; compare it on site with a sight glass, a dipstick from "
    "outside or a thermometer.",
    text_response="Look from outside: sensor, cable, what it measures. Open no panel.",
    respond_within="the next working morning, or at once where it blinds a high alarm",
    on_delay_seconds=90.0,
    off_delay_seconds=60.0,
    basis="Three implausible readings in a row, or eight of the last sixteen. Stuck: the same "
    "to the last digit for ten minutes, thirty readings, and more than four times the longest "
    "repeat of the last week; a sensor that seldom changes is not judged by that. Wild: six "
    "single readings of the last two hundred are off by more than 5 % of the range. Out of "
    "the brine: in a standing tank it jumps by {1 K} in two minutes, or swings by {0.1 K} in ten "
    "for an hour and more, and conductivity does a third at most of what brine's would. No "
    "current: a pump that runs and delivers a quarter of its flow for a minute shows less "
    "than four standard uncertainties of it. The delay lets a depot that sends nothing "
    "readable be raised as one alarm. Laid up, probes hang in air and levels rest at nothing.",
    suppressed_by=("depot-silent", "link-lost"),
    quiet_in=(Mode.LAID_UP,),
)


_IN_LITTLE_ROOM = "Look at sensor, cable from outside; open no panel."
"""The same where what is wrong takes more words, or where what nobody watches is said too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Implausible(Finding):
    """How a sensor shows that it can't be believed."""

    sends: str = ""
    """What is wrong with what it sends, where that is all."""
    shows: str = ""
    """What other sensors show of it: "is not in the brine"."""
    stuck_since: Instant | None = None
    """It is stuck at `value` since then."""
    spikes: int = 0
    """How many of its last readings are implausible spikes."""
    blinds: str = ""
    """The dangers that nobody watches without it, as a list to read."""


class SensorImplausible(Condition[Implausible]):
    """A sensor that reports what can't be: three times running, or half of the time; or shows it
    by its course: it is stuck, it spikes, or others contradict it.
    """

    def __init__(self, site: Site, sensor: SensorTracker) -> None:
        self._sensor = sensor
        self._unwatched = site.watch.unwatched
        super().__init__(site, sensor.plan.id, Implausible, judged_after=(sensor,))

    def at_rest(self) -> bool:
        """Nothing odd is known of it."""
        return not (self._sensor.marks or self._sensor.doubt)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Not to be believed? And what does that leave unwatched?"""
        verdict = self._judge(active)
        blinds = self._unwatched.without(self._sensor.plan.id) if verdict.active else ""
        if not blinds or not isinstance(verdict.finding, Implausible):
            return verdict
        return Verdict(True, replace(verdict.finding, blinds=blinds))

    def _judge(self, active: bool) -> Verdict:
        """While it is active, six good readings in a row are wanted."""
        sensor = self._sensor
        nonsense = sensor.marks & 0b111111 != 0 if active else sensor.nonsense
        contradicted = sensor.doubt == "contradicted"
        if contradicted and sensor.plan.measures.is_switch and not nonsense:
            return CLEAR  # a switch that others contradict has its own alarm
        if sensor.nonsense or not sensor.doubt:
            return Verdict(True, Implausible(sends=sensor.bad_why)) if nonsense else CLEAR
        if sensor.doubt == "stuck" and sensor.repeats and sensor.repeats.stuck_at is not None:
            return Verdict(
                True,
                Implausible(
                    value=round(sensor.repeats.stuck_at, 9),
                    unit=SI_UNITS[sensor.plan.measures],
                    stuck_since=sensor.repeats.stuck_since,
                ),
            )
        if sensor.doubt == "spiking" and sensor.spikes:
            return Verdict(True, Implausible(spikes=sensor.spikes.count))
        return Verdict(True, Implausible(shows=sensor.contradicted))

    def words(self, finding: Implausible, now: Instant) -> Words:
        """What shows it, what nobody watches for meanwhile, and what to look at."""
        words = self._words(finding)
        roomy = not (finding.blinds or finding.spikes or finding.shows)
        return words if roomy else words._replace(response=_IN_LITTLE_ROOM)

    def _words(self, finding: Implausible) -> Words:
        blind = unwatched(finding.blinds)
        if finding.stuck_since is not None:
            at = self.units.measured(finding.value or 0.0, finding.unit)
            # It was wrong from its first repeat on, not only since it was found out.
            return Words(
                f"{self.name} is stuck at {at}",
                blind,
                past=f"{self.name} was stuck at {at}",
                since=finding.stuck_since,
            )
        if finding.spikes:
            wild = f"{finding.spikes} of its last {WINDOW} readings are wild"
            return Words(
                f"{self.name} jumps around: {wild}", blind, past=f"{self.name} jumped around"
            )
        past = f"{self.name} was implausible"
        if finding.shows:
            return Words(f"{self.name} {finding.shows}", blind, past=past)
        return Words(f"{self.name} implausible: {finding.sends}", blind, past=past)


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [
        SensorImplausible(site, sensor) for sensor in site.trackers.sensors.values()
    ],
)
