"""Every alarm that can be raised: each module of this package that has an `ALARM`."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

from brineward import alarms
from brineward.alarms.condition import Alarm, Condition, Site
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.plant.trackers import Trackers
from brineward.readings.outputs import Priority
from brineward.watch.trackers import WatchTrackers


def _found() -> Iterator[Alarm]:
    for module in iter_modules(alarms.__path__):
        alarm = getattr(import_module(f"{alarms.__name__}.{module.name}"), "ALARM", None)
        if isinstance(alarm, Alarm):
            yield alarm


ALARMS = tuple(sorted(_found(), key=lambda alarm: alarm.record.place))
"""All of them, the gravest first."""

CATALOGUE: Mapping[str, AlarmRecord] = {alarm.record.id: alarm.record for alarm in ALARMS}
"""Their records by id, in the same order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfiguredAlarm:
    """One condition with its delays and priority as they hold at this depot."""

    condition: Condition[Any]
    record: AlarmRecord
    on_delay_seconds: float
    off_delay_seconds: float
    priority: Priority
    settings: AlarmSettings
    """What the config changes of it."""


def site_of(plan: DepotPlan, *, keeps_house: bool = True) -> Site:
    """A depot with trackers that remember nothing yet."""
    return Site(
        plan=plan,
        trackers=Trackers(plan),
        watch=WatchTrackers(plan),
        keeps_house=keeps_house,
        units=plan.units,
    )


def alarms_at(site: Site) -> tuple[ConfiguredAlarm, ...]:
    """Every condition that the depot's sensors can judge, in the order of the catalogue."""
    found = [
        (alarm.record, condition)
        for alarm in ALARMS
        if site.settings(alarm.record).enabled
        for condition in sorted(alarm.conditions(site), key=lambda one: one.source)
    ]
    # What blinds an alarm that wakes people is itself worth waking somebody for.
    grave = {
        tracker.name
        for alarm in ALARMS
        if alarm.record.priority is Priority.HIGH
        for condition in alarm.conditions(site)
        for tracker in condition.judged_after
    }
    return tuple(_watch(site, record, condition, grave) for record, condition in found)


NEVER_SECONDS = 1e9
"""Thirty years: the delay of what is judged and never announced."""


def silences_never_announced_at(site: Site) -> tuple[ConfiguredAlarm, ...]:
    """Silences whose alarm is switched off: judged for what they blind, never announced."""
    return tuple(
        ConfiguredAlarm(
            condition=condition,
            record=replace(alarm.record, id=f"untold {alarm.record.id}", suppressed_by=()),
            on_delay_seconds=NEVER_SECONDS,
            off_delay_seconds=0.0,
            priority=alarm.record.priority,
            settings=site.settings(alarm.record),
        )
        for alarm in ALARMS
        if not site.settings(alarm.record).enabled
        for condition in alarm.conditions(site)
        if condition.blinds
    )


def _watch(
    site: Site, record: AlarmRecord, condition: Condition[Any], grave: set[str]
) -> ConfiguredAlarm:
    settings = site.settings(record)
    on_delay = max(record.on_delay_seconds, condition.on_delay_at_least)
    off_delay = record.off_delay_seconds
    if settings.on_delay_seconds is not None:
        on_delay = settings.on_delay_seconds
    if settings.off_delay_seconds is not None:
        off_delay = settings.off_delay_seconds
    blinds = any(tracker.name in grave for tracker in condition.judged_after)
    graver = record.graver_where_it_blinds and blinds
    return ConfiguredAlarm(
        condition=condition,
        record=record,
        on_delay_seconds=on_delay,
        off_delay_seconds=off_delay,
        priority=Priority.MEDIUM if graver else record.priority,
        settings=settings,
    )


def coverage(plan: DepotPlan) -> list[Coverage]:
    """How each alarm about the plant is watched at this depot; the sensors' own are left out."""
    return [
        one
        for alarm in ALARMS
        if plan.alarms.get(alarm.record.id) is None or plan.alarms[alarm.record.id].enabled
        for one in sorted(alarm.coverage(plan), key=lambda one: one.source)
    ]


def remarks(plan: DepotPlan) -> list[str]:
    """What this depot's sensors can show for each alarm; nothing for those switched off."""
    return [
        sentence
        for alarm in ALARMS
        if plan.alarms.get(alarm.record.id) is None or plan.alarms[alarm.record.id].enabled
        for sentence in alarm.remarks(plan)
    ]
