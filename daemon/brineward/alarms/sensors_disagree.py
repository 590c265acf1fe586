"""Two sensors of one thing at one place show different things."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.plant.plan import SI_UNITS
from brineward.plant.sensor_pairs import SensorPair
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

CLEARED_SHARE = 0.7
"""Once active, they must come as near as this share of the limit to clear."""

RECORD = AlarmRecord(
    id="sensors-disagree",
    title="TWO SENSORS DISAGREE",
    place=85,
    priority=Priority.LOW,
    cause="One of two sensors of the same thing has drifted, moved, fouled or lost its zero.",
    consequence="All that is judged by the first of them may be wrong: what is too full, too weak "
    "or too cold.",
    response="Compare both on site: a level with a sight glass or a dipstick from outside, a "
    "temperature with a thermometer, a strength with a hydrometer. Mend the one that is off, and "
    "name the better one first in the config.",
    text_response="Compare both on site, from outside; have the wrong one fixed.",
    respond_within="the next working day",
    on_delay_seconds=300.0,
    off_delay_seconds=300.0,
    basis="Three times their combined standard uncertainty and what two places side by side may "
    "truly differ by ({0.01 m} of level, {1 K} in brine, {3 K} in air), in the mean of two minutes "
    "and for five (common practice, no source).",
    suppressed_by=("depot-silent", "link-lost"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart(Finding):
    """Two sensors apart by `value`, more than `limit`."""

    first: float
    other: float
    """What each shows, SI."""


class SensorsDisagree(Condition[Apart]):
    """Two sensors differ by more than both allow."""

    def __init__(self, site: Site, pair: SensorPair) -> None:
        self._pair = pair
        super().__init__(
            site,
            pair.other.plan.id,
            Apart,
            judged_after=(pair.other,),
            limit=pair.limit,
            unit=SI_UNITS[pair.first.plan.measures],
        )
        self.value_from = ()

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Are they too far apart? Unknown while one is silent or implausible."""
        pair = self._pair
        if pair.difference is None or not pair.known(now):
            return Verdict.not_now("one of the two is silent or implausible, or has just begun")
        limit = pair.limit * (CLEARED_SHARE if active else 1.0)
        finding = Apart(
            value=round(abs(pair.difference), 6),
            limit=round(pair.limit, 6),
            unit=self.unit,
            first=round(pair.first.value or 0.0, 6),
            other=round(pair.other.value or 0.0, 6),
        )
        return Verdict.active_if(abs(pair.difference) > limit, finding)

    def words(self, finding: Apart, now: Instant) -> Words:
        """Which two, and what each shows."""
        first = self.units.measured(finding.first, finding.unit)
        other = self.units.measured(finding.other, finding.unit)
        judged = self.units.name_of(self._pair.first.plan.id)
        both = f"{judged} and {self.name}"
        return Words(f"{both} disagree", f"{first} and {other}", past=f"{both} disagreed")


def _conditions(site: Site) -> Iterator[SensorsDisagree]:
    for pair in site.trackers.pairs:
        yield SensorsDisagree(site, pair)


ALARM = Alarm(record=RECORD, conditions=_conditions)
