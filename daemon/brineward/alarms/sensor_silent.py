"""A sensor has reported nothing for longer than it may."""

from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="sensor-silent",
    title="SENSOR SILENT",
    place=110,
    priority=Priority.LOW,
    graver_where_it_blinds=True,
    cause="Its cable, battery, radio or gateway input.",
    consequence="What it watches is blind.",
    response="Check its power and cable. Until it reports, check on site what it watches.",
    text_response="Check cable, power (if dry). Until it reports: look on site.",
    respond_within="the next working morning, or at once where it blinds a high alarm",
    on_delay_seconds=60.0,
    off_delay_seconds=30.0,
    basis="Three missed readings and some seconds, or what the config says; the delay lets "
    "a silent depot be raised as one alarm. Laid up, sensors are switched off; while it is filled "
    "up they come back one by one with people there, and the next step names those still silent.",
    suppressed_by=("depot-silent", "link-lost"),
    quiet_in=(Mode.FILLING_UP, Mode.LAID_UP),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Silent(Finding):
    """A sensor that is silent for `value` seconds."""

    blinds: str = ""
    """The dangers that nobody watches without it, as a list to read."""


class SensorSilent(Condition[Silent]):
    """One sensor's silence, judged by deadline and by its first report after a silence."""

    looks_wander = True

    def __init__(self, site: Site, sensor: SensorTracker) -> None:
        self._sensor = sensor
        self._link, self._unwatched = site.watch.link, site.watch.unwatched
        self.blinds = (sensor,)
        super().__init__(
            site,
            sensor.plan.id,
            Silent,
            judged_after=(sensor, self._link),
            limit=sensor.plan.silent_after_seconds,
            unit="s",
        )

    def at_rest(self) -> bool:
        """It has just reported, was not silent, and may be so for as long as before."""
        return not self._sensor.hastened

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Silent beyond its limit?"""
        silence = self._link.silence(self._sensor.heard, now)
        if silence is None:
            return Verdict.unknown(self._link.deaf())
        limit = self._sensor.silent_after
        if silence < limit:
            return CLEAR
        return Verdict(
            True,
            Silent(
                value=round(silence / SECOND, 0),
                limit=limit / SECOND,
                unit="s",
                blinds=self._unwatched.without(self._sensor.plan.id),
            ),
        )

    def next_look(self, now: Instant) -> Instant | None:
        """When the silence is too long, should it last."""
        silence = self._link.silence(self._sensor.heard, now)
        return None if silence is None else now - silence + self._sensor.silent_after

    def words(self, finding: Silent, now: Instant) -> Words:
        """Which is silent, and what nobody watches for meanwhile."""
        past = f"{self.name} was silent"
        return Words(f"{self.name} is silent", unwatched(finding.blinds), past=past)


def unwatched(dangers: str) -> str:
    """The words that name unwatched dangers; empty where there are none."""
    return f"unwatched: {dangers}" if dangers else ""


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [
        SensorSilent(site, sensor) for sensor in site.trackers.sensors.values()
    ],
)
