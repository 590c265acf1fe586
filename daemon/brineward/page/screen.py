"""The first screen: what is shown of a depot, in words, as templates take it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from brineward.page.alarm_words import because
from brineward.page.tank_view import TankView, tank_views
from brineward.page.words import say
from brineward.plant.plan import DepotPlan, Measure, VesselKind
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority
from brineward.records import Episode, Records, ServiceRow
from brineward.records.alarm_now import AlarmNow
from brineward.records.depot_now import DepotNow, SensorNow, depot_now
from brineward.wording.operator_units import duration

_OLD_SECONDS: Final = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmView:
    """An alarm that is not normal."""

    code: str
    number: int
    priority: str
    """`high`, `medium` or `low`."""
    what: str
    details: tuple[str, ...]
    """How bad, how long there is, since when, who has it."""
    response: str
    acts: tuple[str, ...]
    """`take`, `back`, `shelve`, `unshelve`, `reset`: what may be done with it now."""
    active: bool
    needed: bool
    """Nobody has it yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A name and what it reads."""

    name: str
    value: str
    old: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """Everything on it."""

    plan: DepotPlan
    time: Instant
    clock: str
    mood: str
    """`calm`, `partly`, `taken`, `needed` or `unwatched`."""
    mood_word: str
    sentence: str
    unwatched: str
    """Why nobody watches; empty where the service runs and readings come in."""
    alarms: Sequence[AlarmView]
    held: Sequence[AlarmView]
    tanks: Sequence[TankView]
    facts: Sequence[Fact]
    doing: Sequence[str]
    mode: str

    @property
    def news(self) -> str:
        """How it is and which alarms nobody has, without spaces in each: one more is announced."""
        needed = (f"{one.number}" for one in self.alarms if one.needed)
        return " ".join(f"{self.plan.id}:{one}" for one in (self.mood, *needed))


def screen(plan: DepotPlan, records: Records, now: Instant) -> Screen:
    """The screen at an instant. Raises: DiskTrouble, JournalDamaged."""
    depot = depot_now(plan, records, now)
    service = records.service()
    going = [one for one in records.episodes.between(plan.id, now, limit=50) if one.ended is None]
    tests = records.acts.valid_tests(plan.id)
    views = [_alarm_view(depot, one) for one in depot.alarms]
    shown = [one for one in views if one.active or one.needed]
    # What nobody has comes first, on a phone in sight; of that as in the banner.
    shown.sort(key=lambda one: (not one.needed, not one.active, -Priority(one.priority).rank))
    tanks = tank_views(depot, tests)
    stopped, link = _stopped(plan, service, now), _link_down(plan, service, now) or _deaf(depot)
    mood, head = ("unwatched", stopped) if stopped else _state(depot, link, shown)
    return Screen(
        plan=plan,
        time=now,
        clock=clock_time(plan, now, now),
        mood=mood,
        mood_word=say(f"state.word_{mood}"),
        sentence=" ".join((head, _in_short(depot, tanks))).strip(),
        unwatched=stopped or link,
        alarms=shown,
        held=[one for one in views if not one.active and not one.needed],
        tanks=tanks,
        facts=list(_facts(depot)),
        doing=list(_doing(depot, going)),
        mode=_mode(depot),
    )


def clock_time(plan: DepotPlan, then: Instant, now: Instant) -> str:
    """As `OperatorUnits.clock_time`."""
    return plan.units.clock_time(then, now)


def _stopped(plan: DepotPlan, service: ServiceRow, now: Instant) -> str:
    """Why nobody watches; empty where the service gives a sign of life."""
    if service.beat is None:
        return say("state.never")
    if service.alive(now):
        return ""
    if service.stopped is not None:
        return say("state.stopped", time=clock_time(plan, service.stopped, now))
    age = (now - service.beat) / SECOND
    if age < 0:
        return say("state.set_back", time=duration(-age))
    return say("state.unwatched", time=duration(age))


def _link_down(plan: DepotPlan, service: ServiceRow, now: Instant) -> str:
    """Since when the broker is away; empty where it is there, or was never met."""
    if service.link_up is not False or service.link_changed is None:
        return ""
    return say("state.link", time=clock_time(plan, service.link_changed, now))


def _deaf(depot: DepotNow) -> str:
    """That every sensor is silent; empty where one is heard, and in summer, when all may be."""
    silent = depot.sensors and all(one.silent for one in depot.sensors)
    if not silent or depot.mode.mode is Mode.LAID_UP:
        return ""
    return say("state.deaf", all=len(depot.sensors))


def _state(depot: DepotNow, link: str, alarms: Sequence[AlarmView]) -> tuple[str, str]:
    """The gravest that is to be said while the service runs, and its sentence."""
    needed = sum(one.needed and one.active for one in alarms)
    cleared = sum(one.needed and not one.active for one in alarms)
    if needed or cleared:
        said = [_counted("state.needed", needed) if needed else ""]
        said.append(_counted("state.cleared", cleared) if cleared else "")
        return "needed", " ".join(filter(None, (*said, link)))
    return ("unwatched", link) if link else _in_hand(depot, alarms)


def _in_hand(depot: DepotNow, alarms: Sequence[AlarmView]) -> tuple[str, str]:
    if alarms:
        return "taken", _counted("state.taken", len(alarms))
    silent = sum(one.silent for one in depot.sensors)
    if silent:
        return "partly", _counted("state.silent", silent, all=len(depot.sensors))
    return "calm", say("state.all")


def _counted(name: str, count: int, **more: object) -> str:
    return say(f"{name}_one", **more) if count == 1 else say(name, count=count, **more)


def _in_short(depot: DepotNow, tanks: Sequence[TankView]) -> str:
    """The tank and the shelter in one line: "23.1 % +/- 0.4, 2,140 gal, shed 46 F."."""
    said = []
    if tanks:
        said += [tanks[0].strength_short, "" if tanks[0].old else tanks[0].volume]
    shelter = next(
        (one for one in depot.sensors if (one.measures, one.at) == ("temperature", "shelter")), None
    )
    if shelter is not None and shelter.value is not None and not shelter.silent:
        warm = depot.plan.units.temperature(shelter.value)
        said.append(say("state.shelter", temperature=warm))
    joined = ", ".join(filter(None, said))
    return f"{joined}." if joined else ""


def _alarm_view(depot: DepotNow, now: AlarmNow) -> AlarmView:
    plan, change = depot.plan, now.alarm.change
    text = now.text.notice if now.text is not None else None
    what = text.headline if text is not None and text.headline else _last_said(depot, change)
    number = change.number
    return AlarmView(
        code=now.code,
        number=number,
        priority=change.priority.value,
        what=f"{what[:1].upper()}{what[1:]}",
        details=tuple(_details(depot, now)),
        response=plan.units.in_units(now.response) if now.active else "",
        acts=tuple(_acts(now)) if number else (),
        active=now.active,
        needed=now.unacknowledged,
    )


def _last_said(depot: DepotNow, change: AlarmChanged) -> str:
    """The sentence of its last change, with its time where it has figures that are old by now."""
    sentence = change.sentence.rstrip(".")
    if change.value is None or depot.time - change.time < _OLD_SECONDS * SECOND:
        return sentence
    return say("alarm.as_of", what=sentence, time=clock_time(depot.plan, change.time, depot.time))


def _details(depot: DepotNow, now: AlarmNow) -> Iterator[str]:
    plan, change = depot.plan, now.alarm.change
    at = clock_time(plan, change.time, depot.time)
    if now.active:
        yield from _how_bad(depot, now)
        if now.unacknowledged:
            yield say("alarm.not_taken")
        elif change.by:
            yield say("alarm.taken_by", name=plan.name_of(change.by), time=at)
    elif now.unacknowledged:
        yield say("alarm.cleared", time=at)
    elif change.state is AlarmState.SUPPRESSED and change.why:
        yield say("alarm.held_back", why=because(change))
    elif change.state is AlarmState.SHELVED and change.until is not None:
        yield say("alarm.shelved", time=clock_time(plan, change.until, depot.time))
    elif change.state is AlarmState.OUT_OF_SERVICE:
        yield say("alarm.out_of_service")


def _how_bad(depot: DepotNow, now: AlarmNow) -> Iterator[str]:
    """The value as it is now, how long there is, since when."""
    plan, change = depot.plan, now.alarm.change
    if now.value is not None:
        value = say("alarm.now", value=plan.units.measured(now.value, change.unit))
        if change.limit is not None:
            limit = plan.units.measured(change.limit, change.unit)
            value += ", " + say("alarm.limit", value=limit)
        yield f"{_capital(value)}."
    if now.text is not None and now.text.notice.time_left:
        yield f"{_capital(now.text.notice.time_left).rstrip('.')}."
    yield say("alarm.since", time=clock_time(plan, now.alarm.since, depot.time))
    if now.latched:
        yield say("alarm.latched")


def _acts(now: AlarmNow) -> Iterator[str]:
    state = now.alarm.change.state
    if now.unacknowledged:
        yield "take"
    if now.latched:
        yield "reset"
    if state is AlarmState.ACKNOWLEDGED:
        yield "back"
    if state is AlarmState.SHELVED:
        yield "unshelve"
    elif now.active:
        yield "shelve"


_SWITCHES: Final = {
    Measure.RUNNING.value: ("plant.stopped", "plant.running"),
    Measure.OPEN.value: ("plant.shut", "plant.open"),
    Measure.POWER.value: ("plant.no_power", "plant.power"),
}


_SALT: Final = Measure.SALT_LEVEL.value


def _facts(depot: DepotNow) -> Iterator[Fact]:
    """Salt, what is around the tanks, temperatures, pumps and valves; a tank's own are shown with
    it."""
    tanks = {one.id for one in depot.plan.vessels.values() if one.holds_brine}
    around = {one.id for one in depot.plan.vessels.values() if one.kind is VesselKind.CONTAINMENT}
    shown = [
        one
        for one in depot.sensors
        if one.measures in _SWITCHES
        or one.measures == _SALT
        or (one.measures == "temperature" and one.at not in tanks)
        or (one.measures == "level" and one.at in around)
    ]
    for at in dict.fromkeys(one.at for one in shown):
        here = [one for one in shown if one.at == at]
        yield Fact(
            name=_capital(depot.plan.name_of(at)),
            value=", ".join(dict.fromkeys(sensor_value(depot.plan, one) for one in here)),
            old=any(one.silent for one in here),
        )


def sensor_value(plan: DepotPlan, sensor: SensorNow) -> str:
    """A reading in words, with its age where it is old."""
    if sensor.value is None or sensor.age_seconds is None:
        return say("tank.none")
    if sensor.measures in _SWITCHES:
        value = say(_SWITCHES[sensor.measures][sensor.value >= 0.5])
    elif sensor.measures == _SALT:
        value = say("plant.salt", level=plan.units.level(sensor.value))
    elif sensor.measures == "level":
        value = say("plant.liquid", depth=plan.units.depth(max(sensor.value, 0.0)))
    else:
        value = plan.units.temperature(sensor.value)
    if not sensor.silent and sensor.age_seconds < _OLD_SECONDS:
        return value
    return say("tank.old", value=value, age=duration(sensor.age_seconds))


def _doing(depot: DepotNow, going: Sequence[Episode]) -> Iterator[str]:
    plan, said = depot.plan, False
    for one in going:
        name = plan.name_of(one.source)
        if one.episode == "fill":
            said = True
            left = _seconds_to_mark(depot, one.source)
            if left is None:
                yield say("doing.filling", name=name)
            elif left <= 0.0:
                yield say("doing.filling_over", name=name)
            else:
                yield say("doing.filling_mark", name=name, time=duration(left))
        elif one.episode == "pump-run":
            said = True
            yield say("doing.pumping", name=name, time=duration((depot.time - one.began) / SECOND))
    if said:
        return
    tanks = {one.id for one in plan.vessels.values() if one.holds_brine}
    telling = [
        one
        for one in depot.sensors
        if one.measures == "running" or (one.measures == "level" and one.at in tanks)
    ]
    if any(one.silent for one in telling):
        yield say("doing.unknown")
    elif any(one.episode == "load" for one in going):
        # What flows into the tank shows when its level has come to rest.
        yield say("doing.settling")
    else:
        yield say("doing.still")


def _seconds_to_mark(depot: DepotNow, vessel: str) -> float | None:
    """By the fill's flow as the plan has it; None where that or the level is not known."""
    tank = depot.plan.vessels.get(vessel)
    flow = next((one.flow_m3_per_s for one in depot.plan.fills if one.into == vessel), 0.0)
    level = next(
        (one for one in depot.sensors if (one.measures, one.at) == ("level", vessel)), None
    )
    if tank is None or tank.fill_mark_m is None or flow <= 0.0 or level is None:
        return None
    if level.value is None or level.silent:
        return None
    missing = tank.shape.volume_m3(tank.fill_mark_m) - tank.shape.volume_m3(level.value)
    return max(0.0, missing) / flow


def _mode(depot: DepotNow) -> str:
    mode = _capital(depot.mode.mode.value)
    if depot.mode.since is None:
        return say("doing.mode_ever", mode=mode)
    since = clock_time(depot.plan, depot.mode.since, depot.time)
    return say("doing.mode", mode=mode, time=since)


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
