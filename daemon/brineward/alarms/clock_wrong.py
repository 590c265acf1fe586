"""A clock is wrong: a sensor's or gateway's, or this machine's own."""

from collections.abc import Iterator

from brineward.alarms.condition import Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority
from brineward.watch.clocks import ClockTracker

RECORD = AlarmRecord(
    id="clock-wrong",
    title="CLOCK WRONG",
    place=130,
    priority=Priority.LOW,
    cause="A sensor's or gateway's clock is ahead, or was reset; or this machine's own was set.",
    consequence="Its readings are judged by their arrival; late ones look new.",
    response="Set the clock of the sensor, gateway or machine; check its time service.",
    text_response="Set its clock; check its time service.",
    respond_within="the next working morning",
    on_delay_seconds=60.0,
    off_delay_seconds=300.0,
    limit=120.0,
    limit_unit="s",
    basis="Two minutes ahead of our own clock cannot be a delay on the way.",
)


class ClockWrong(Condition[Explained]):
    """One clock, or all of one kind."""

    def __init__(self, site: Site, clock: ClockTracker) -> None:
        self._clock = clock
        super().__init__(site, clock.whose, Explained, judged_after=(clock,))

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Has it shown itself wrong in the last minutes?"""
        return Verdict.explained(self._clock.wrong(now))

    def next_look(self, now: Instant) -> Instant | None:
        """When it is trusted again, should it show nothing more."""
        trusted = self._clock.trusted_at
        return trusted if trusted is not None and trusted > now else None

    def words(self, finding: Explained, now: Instant) -> Words:
        """How it is wrong."""
        past = finding.why.replace("clock is ", "clock was ").replace("gateway is ", "gateway was ")
        return Words(finding.why, past=past)


def _conditions(site: Site) -> Iterator[ClockWrong]:
    yield ClockWrong(site, site.watch.sensor_clocks)
    if site.keeps_house:
        yield ClockWrong(site, site.watch.own_clock)


ALARM = Alarm(record=RECORD, conditions=_conditions)
