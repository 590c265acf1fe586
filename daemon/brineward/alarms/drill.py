"""A drill: a mock alarm through the real rota, marked as one, to see who takes it and how soon."""

from collections.abc import Iterator

from brineward.alarms.condition import Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import TROUBLE_SOURCE
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="drill",
    title="DRILL, NOTHING IS WRONG",
    place=161,
    priority=Priority.HIGH,
    cause="Somebody ran `brineward drill`.",
    consequence="None at the plant; untaken, the way to people is not proven.",
    response="Take it as if it were real, and stay where you are.",
    text_response="Only take it: do nothing at the plant.",
    respond_within="5 minutes",
    respond_seconds=300.0,
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="The gravest alarms leave minutes, so it calls as they do.",
)


def drill_words(depot: str, until: Instant) -> str:
    """What the service is told of a drill: at which depot, and when it is over by itself."""
    return f"{depot} until {until}"


def _until(words: str, depot: str) -> Instant:
    """When the drill at a depot is over; 0 where there is none."""
    where, _, until = words.rpartition(" until ")
    return int(until) if where == depot and until.isdigit() else 0


class Drill(Condition[Explained]):
    """The drill at one depot."""

    def __init__(self, site: Site) -> None:
        self._depot = site.plan.id
        self._troubles = site.watch.troubles
        super().__init__(site, TROUBLE_SOURCE, Explained, judged_after=(self._troubles,))

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is there one?"""
        goes_on = now < _until(self._troubles.sentence("drill"), self._depot)
        return Verdict.explained("nothing is wrong" if goes_on else "")

    def next_look(self, now: Instant) -> Instant | None:
        """When it is over by itself."""
        until = _until(self._troubles.sentence("drill"), self._depot)
        return until if now < until else None

    def words(self, finding: Explained, now: Instant) -> Words:
        """That it is one."""
        return Words(f"DRILL, {finding.why}", past="DRILL")


def _conditions(site: Site) -> Iterator[Drill]:
    yield Drill(site)


ALARM = Alarm(record=RECORD, conditions=_conditions)
