"""Dangers that nobody watches: conditions that can't be judged, where no sensor's alarm says so."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.depot_silent import RECORD as DEPOT_SILENT
from brineward.alarms.record import AlarmRecord
from brineward.alarms.sensor_implausible import RECORD as IMPLAUSIBLE
from brineward.alarms.sensor_silent import RECORD as SILENT
from brineward.plant.drained import drained_below_m
from brineward.plant.plan import Measure, VesselKind
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Priority
from brineward.watch.unwatched import Blind, listed

RECORD = AlarmRecord(
    id="dangers-unwatched",
    title="DANGERS UNWATCHED",
    place=105,
    priority=Priority.LOW,
    cause="What some alarms are judged from has been missing for long, and no alarm of a sensor "
    "says so: that alarm is switched off in the config, say.",
    consequence="The dangers that the text names are not watched for.",
    response="Check those dangers on site until they are watched again. All of them, and why, are "
    "in the answer to a text such as TH UNWATCHED, on the page and in brineward status.",
    text_response="Check these on site.",
    text_asks="UNWATCHED",
    respond_within="the next working morning, or at once where one of them is high",
    on_delay_seconds=1800.0,
    off_delay_seconds=60.0,
    basis="Conditions about the plant that can't be judged for half an hour, other than for the "
    "plant's own normal life (a tank that is filled is blended first). Where a sensor is silent or "
    "implausible, its own alarm names what it leaves unwatched, and this one does not. Those "
    "alarms are quiet while the depot is laid up, that of a silent one while it is filled up too; "
    "this one then names what is still dangerous, for sensors that have reported since that mode "
    "began, with a value that could be. The others were switched off on purpose, as is a laid-up "
    "depot where no sensor reports; a level that rests in an empty tank is as it should be. "
    "Medium where an alarm of high priority is among them. Another of high priority that joins "
    "them for half an hour is announced again, each once.",
    suppressed_by=("depot-silent", "link-lost"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NobodyWatches(Finding):
    """`value` dangers are unwatched."""

    dangers: str
    why: str
    since: Instant


class DangersUnwatched(Condition[NobodyWatches]):
    """Some danger can't be judged, and no alarm of a sensor has said so."""

    def __init__(self, site: Site) -> None:
        self._sensors, self._link = site.trackers.sensors, site.watch.link
        self._unwatched = site.watch.unwatched
        self._vessels = site.plan.vessels
        self._silence_told = site.settings(SILENT).enabled
        self._doubt_told = site.settings(IMPLAUSIBLE).enabled
        delay = site.settings(RECORD).on_delay_seconds
        self._lasts = round((RECORD.on_delay_seconds if delay is None else delay) * SECOND)
        self._mode, self._hearing = site.trackers.mode, site.watch.hearing
        limits = [sensor.plan.silent_after_seconds for sensor in self._sensors.values()]
        self._depot_silent_after = round(min(limits, default=60.0) * SECOND)
        after = (self._unwatched, self._mode, *self._sensors.values())
        super().__init__(site, "depot", NobodyWatches, judged_after=after)

    def at_rest(self) -> bool:
        """Everything is watched; a sensor's reading changes nothing of that by itself."""
        return not self._unwatched.blind

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Which are there?"""
        mode = self._mode.mode
        found = [
            blind
            for blind in self._unwatched
            if mode not in blind.quiet_in and not self._told(blind, now)
        ]
        if not found:
            return CLEAR
        if self._switched_off(now):
            return Verdict.not_now("laid up, and no sensor reports") if active else CLEAR
        grave = [blind for blind in found if blind.priority is Priority.HIGH]
        # The text that tells of another names it first.
        grave.sort(key=lambda blind: -blind.since)
        found = [*grave, *(blind for blind in found if blind.priority is not Priority.HIGH)]
        # What is raised names all; one that joins later has to last as long.
        counted = [b.danger for b in grave if not active or now - b.since >= self._lasts]
        return Verdict(
            True,
            NobodyWatches(
                value=float(len(found)),
                priority=Priority.MEDIUM if grave else None,
                names=tuple(dict.fromkeys(counted)),
                dangers=listed([blind.danger for blind in found]),
                why=found[0].why,
                since=min(blind.since for blind in found),
            ),
        )

    def next_look(self, now: Instant) -> Instant | None:
        """When another grave one has lasted long enough to be told, or an alarm of its own comes to
        tell of a sensor's silence."""
        grave = [blind.since for blind in self._unwatched if blind.priority is Priority.HIGH]
        due = [since + self._lasts for since in grave]
        if self._silence_told or self._mode.mode in SILENT.quiet_in:
            due += self._silences(now)
        heard = self._link.silence(self._hearing.last_heard, now)
        if heard is not None and self._mode.mode in DEPOT_SILENT.quiet_in and self._unwatched.blind:
            due.append(now - heard + self._depot_silent_after)
        return min([at for at in due if at > now], default=None)

    def _silences(self, now: Instant) -> Iterator[Instant]:
        """When each sensor that is to blame is silent for too long, should it stay so."""
        for sensor in {name: None for blind in self._unwatched for name in blind.sensors}:
            tracker = self._sensors[sensor]
            silence = self._link.silence(tracker.heard, now)
            if silence is not None:
                yield now - silence + tracker.silent_after

    def _told(self, blind: Blind, now: Instant) -> bool:
        """Does an alarm of a sensor name it?"""
        for name in blind.sensors:
            sensor = self._sensors[name]
            silence = self._link.silence(sensor.heard, now)
            if silence is None:
                return True  # nobody listens, or nobody has yet: that is another's matter
            if silence >= sensor.silent_after and self._silence_is_told(sensor):
                return True
            if sensor.implausible and self._doubt_is_told(sensor):
                return True
        return False

    def _silence_is_told(self, sensor: SensorTracker) -> bool:
        """Does its own alarm tell of it, or was it switched off on purpose?"""
        mode = self._mode
        if mode.mode in SILENT.quiet_in:
            return sensor.heard <= mode.since
        return self._silence_told

    def _doubt_is_told(self, sensor: SensorTracker) -> bool:
        """Does its own alarm tell of it, or is that how it is while nobody uses the depot: without
        power since, or at rest in an empty tank?"""
        mode = self._mode
        if mode.mode in IMPLAUSIBLE.quiet_in:
            return sensor.measured <= mode.since or self._rests_in_empty_tank(sensor)
        return self._doubt_told

    def _rests_in_empty_tank(self, sensor: SensorTracker) -> bool:
        vessel = self._vessels.get(sensor.plan.at)
        if sensor.plan.measures is not Measure.LEVEL or vessel is None or sensor.doubt != "stuck":
            return False
        # The containment is dry in service too: there a level that never moves is stuck.
        tank = vessel.kind is not VesselKind.CONTAINMENT
        return tank and sensor.value is not None and sensor.value <= drained_below_m(vessel)

    def _switched_off(self, now: Instant) -> bool:
        """Is it a depot that nobody uses and where nothing reports? That is told by itself."""
        heard = self._link.silence(self._hearing.last_heard, now)
        silent = heard is not None and heard >= self._depot_silent_after
        return silent and self._mode.mode in DEPOT_SILENT.quiet_in

    def words(self, finding: NobodyWatches, now: Instant) -> Words:
        """Which they are, and what is missing."""
        return Words(
            f"nobody watches for {finding.dangers}",
            finding.why,
            past=f"nobody watched for {finding.dangers}",
            since=finding.since,
        )


ALARM = Alarm(record=RECORD, conditions=lambda site: [DangersUnwatched(site)])
