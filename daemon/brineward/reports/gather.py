"""Gathers a report from the records of one depot."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from brineward.journal.outbox import REPLAYED
from brineward.plant.plan import DepotPlan, Measure, SensorPlan, Vessel
from brineward.readings.instants import DAY, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.records import Bucket, Records
from brineward.records.balance import balance_of, deliveries_of
from brineward.records.made import counted
from brineward.reports.contents import (
    AlarmStory,
    Report,
    StrengthPoint,
    TankCourse,
    TemperatureCourse,
    TextCounts,
)
from brineward.reports.period import Period

_POINTS: Final = 480
"""Of a course: about one for each one and a half pixels of its picture."""
_LOOK: Final = 10 * MINUTE
"""Stretches in which it is asked whether anything was heard."""
_ACTIVE: Final = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
_GONE: Final = (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)
_ALL: Final = 1_000_000


def gather(plan: DepotPlan, records: Records, period: Period, made: Instant) -> Report:
    """Everything that a report of this depot and period says.

    Where the depot's records begin within the period, the report does, too.

    Raises: DiskTrouble, JournalDamaged.
    """
    first = records.readings.first(plan.id)
    begins = first is not None and period.start < first < period.end
    if first is not None and begins:
        period = replace(period, start=first)
    span = (period.start, period.end)
    return Report(
        plan=plan,
        period=period,
        made=made,
        begins_with_records=begins,
        tanks=[
            _tank(plan, records, period, vessel)
            for vessel in plan.vessels.values()
            if vessel.holds_brine
        ],
        temperatures=[
            TemperatureCourse(sensor=name, points=points)
            for name, sensor in plan.sensors.items()
            if sensor.measures is Measure.TEMPERATURE
            and (points := _buckets(plan, records, period, sensor))
        ],
        alarms=alarm_stories(records.alarms.history(plan.id, end=period.end, limit=_ALL), period),
        texts=_texts(plan, records, period),
        modes=[
            (one.mode, max(one.began, period.start))
            for one in records.modes.between(plan.id, period.start, period.end)
        ],
        batches=counted(records.made.batches(plan.id, *span), *span),
        loads=counted(records.made.loads(plan.id, *span), *span),
        balance=balance_of(
            records,
            plan,
            period.start,
            period.end,
            deliveries_of(records, plan.id, period.start, period.end),
        ),
        entered=records.by_hand.between(plan.id, period.start, period.end),
        without_readings_seconds=(period.end - period.start) / SECOND
        - records.readings.heard_seconds(plan.id, plan.sensors, period.start, period.end),
    )


def _span(period: Period) -> tuple[Instant, Instant, float]:
    """Start, end and the width of a stretch, whole minutes, for a course of readings."""
    minutes = max(1, -(-(period.end - period.start) // (_POINTS * MINUTE)))
    return period.start, period.end, minutes * 60.0


def _buckets(plan: DepotPlan, records: Records, period: Period, sensor: SensorPlan) -> list[Bucket]:
    """A sensor's course, what it said within its range alone, as the watch takes it."""
    within = (sensor.low, sensor.high)
    return records.readings.buckets(plan.id, sensor.id, *_span(period), within=within)


def _tank(plan: DepotPlan, records: Records, period: Period, vessel: Vessel) -> TankCourse:
    level = plan.sensor_of(Measure.LEVEL, vessel.id)
    name = f"{vessel.id}-strength"
    probe = plan.sensor_of(Measure.CONDUCTIVITY, vessel.id) or plan.sensor_of(
        Measure.DENSITY, vessel.id
    )
    looks = records.derived.values_of_each(plan.id, name, period.start, period.end, _LOOK / SECOND)
    band = plan.strength
    off = sum(not band.low <= one <= band.high for one in looks)
    known = len(looks)
    tests = [
        one
        for one in records.acts.tests(plan.id, period.start, period.end + 7 * DAY)
        if one.test.vessel == vessel.id and period.start <= one.test.at < period.end
    ]
    return TankCourse(
        vessel=vessel.id,
        levels=[] if level is None else _buckets(plan, records, period, level),
        strengths=_strengths(records, plan.id, name, period),
        tests=[one.test for one in tests if one.struck is None],
        struck=[one for one in tests if one.struck is not None],
        off_band_seconds=off * _LOOK / SECOND,
        unknown_seconds=0.0
        if probe is None
        else max(0.0, (period.end - period.start - known * _LOOK) / SECOND),
    )


def _strengths(records: Records, depot: str, name: str, period: Period) -> list[StrengthPoint]:
    """One value of each stretch: its last, with its interval."""
    return [
        StrengthPoint(time=one.time, value=one.value, low=one.low_95, high=one.high_95)
        for one in records.derived.last_of_each(depot, name, *_span(period))
        if one.low_95 is not None and one.high_95 is not None
    ]


def alarm_stories(changes: Iterable[AlarmChanged], period: Period) -> list[AlarmStory]:
    """Each occurrence that was active within the period, in the order in which they were raised.

    `changes` in order, from before the period too: what was raised earlier and is still active
    belongs to it.
    """
    stories: dict[int, AlarmStory] = {}
    ended: set[int] = set()
    for change in changes:
        number = change.number
        known = stories.get(number)
        if known is None:
            if change.state in _ACTIVE and change.time < period.end:
                stories[number] = AlarmStory(
                    number=number,
                    alarm=change.alarm,
                    source=change.source,
                    priority=change.priority,
                    sentence=change.sentence,
                    raised=change.time,
                    taken=None,
                    by="",
                    cleared=None,
                )
            continue
        taken, by, cleared = known.taken, known.by, known.cleared
        if change.state is AlarmState.ACKNOWLEDGED and taken is None:
            taken, by = change.time, change.by
        if change.state in _ACTIVE:
            cleared = None
            ended.discard(number)
        elif change.state in _GONE and cleared is None:
            cleared = change.time
            if cleared < period.start:
                ended.add(number)
        stories[number] = AlarmStory(
            number=number,
            alarm=known.alarm,
            source=known.source,
            priority=max(known.priority, change.priority, key=lambda one: one.rank),
            sentence=known.sentence,
            raised=known.raised,
            taken=taken,
            by=by,
            cleared=cleared,
        )
    return [story for number, story in stories.items() if number not in ended]


def _texts(plan: DepotPlan, records: Records, period: Period) -> TextCounts:
    found = [
        text
        for text in records.texts.newest(plan.id, limit=_ALL)
        if period.start <= text.created < period.end
    ]
    return TextCounts(
        due=len(found), dead=sum(text.state == "dead" and text.why != REPLAYED for text in found)
    )
