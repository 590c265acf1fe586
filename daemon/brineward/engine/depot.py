"""The engine of one depot: entries in, outputs out, a pure function of its past.

Its time is the latest entry's. Everything that waits (a delay, a silent sensor, the next person
to be told) is a deadline in its state; deadlines up to an entry's time fire, in order, before the
entry is handled. So the outputs don't depend on how often it is ticked.
"""

from typing import Any

import orjson

from brineward.alarms.condition import Verdict
from brineward.alarms.life import Life
from brineward.alarms.roster import Watch, watches_for
from brineward.alarms.silence import DepotSilent, SensorImplausible, SensorSilent
from brineward.engine.calls import Call
from brineward.engine.tell import Teller
from brineward.plant.plan import DepotPlan
from brineward.plant.state import PlantState
from brineward.readings.entries import (
    Act,
    Delivery,
    Entry,
    LinkChanged,
    ServiceTrouble,
    Started,
    Tick,
)
from brineward.readings.instants import DAY, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output
from brineward.readings.values import Reading, Refusal

STATE_VERSION = 1
"""Rises when a snapshot's shape changes."""

LATE = 2 * MINUTE
"""A reading older than this against the engine's time is history: kept, not judged."""

LAGGING = MINUTE
"""While news is older than this, silence says nothing: each topic comes in its own order."""

AHEAD = 2 * MINUTE
"""A reading from further in the future than this shows a wrong clock."""

LATE_FOR_LONG = 10 * MINUTE
"""Readings that come late for longer than this come from a clock that is behind."""


class Watched:
    """One condition at this depot: its life, and what people were told of it."""

    __slots__ = ("call", "causes", "consequences", "key", "life", "watch")

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.key = f"{watch.condition.alarm}/{watch.condition.source}"
        self.life = Life(
            on_delay_seconds=watch.on_delay_seconds, off_delay_seconds=watch.off_delay_seconds
        )
        self.call = Call()
        self.causes: list[Watched] = []
        self.consequences: list[Watched] = []


class DepotEngine:
    """The state of one depot and the one way to change it, `step`."""

    def __init__(self, plan: DepotPlan, *, keeps_house: bool = True) -> None:
        self.plan = plan
        self.now: Instant = 0
        self._plant = PlantState(plan)
        self._all = [Watched(watch) for watch in watches_for(plan)]
        self._by_key = {watched.key: watched for watched in self._all}
        self._judged: dict[str, tuple[Watched, ...]] = {}
        self._silent: dict[str, Watched] = {}
        self._doubted: dict[str, Watched] = {}
        self._silence_due: dict[str, Instant] = {}
        self._next: Instant | None = None
        self._number = 0
        self._lag = 0
        self._outputs: list[Output] = []
        self._held_since: Instant | None = None
        self._keeps_house = keeps_house
        self._teller = Teller(plan)
        self._wire()

    def _wire(self) -> None:
        judged: dict[str, list[Watched]] = {sensor: [] for sensor in self.plan.sensors}
        for watched in self._all:
            condition = watched.watch.condition
            watched.causes = [
                other
                for other in self._all
                if other.watch.condition.alarm in watched.watch.record.suppressed_by
            ]
            for cause in watched.causes:
                cause.consequences.append(watched)
            if isinstance(condition, SensorSilent):
                self._silent[condition.source] = watched
            elif isinstance(condition, SensorImplausible):
                self._doubted[condition.source] = watched
            else:
                for sensor in condition.watches:
                    judged[sensor].append(watched)
        self._judged = {sensor: tuple(found) for sensor, found in judged.items()}

    # -- the one way in

    def step(self, entry: Entry) -> tuple[Output, ...]:
        """Handle one entry; returns what follows from it, in order.

        Entries of other depots must not be given. Never raises for any entry.
        """
        self._outputs = []
        match entry:
            case Reading():
                self._reading(entry)
            case Tick():
                self._arrive(entry.time, lag=0)
            case Refusal():
                self._refusal(entry)
            case Act():
                self._act(entry)
            case Delivery():
                self._delivery(entry)
            case LinkChanged():
                self._link(entry)
            case Started():
                self._listen(entry.time)
            case ServiceTrouble():
                self._trouble(entry)
        return tuple(self._outputs)

    @property
    def next_deadline(self) -> Instant | None:
        """When a tick is next wanted; None while nothing waits."""
        if self._next is None:
            due = [w.life.wait for w in self._all if w.life.wait is not None]
            due += [w.call.due for w in self._all if w.call.due is not None]
            due += self._silence_due.values()
            self._next = min(due, default=None)
        return self._next

    # -- time

    def _arrive(self, time: Instant, *, lag: int) -> None:
        """Time has come to `time`: fire what is due up to then, then tell what was held."""
        self._lag = lag
        deadline = self.next_deadline
        while deadline is not None and deadline <= time:
            self.now = max(self.now, deadline)
            self._fire(deadline)
            self._next = None
            deadline = self.next_deadline
        self.now = max(self.now, time)
        if self._held_since is not None and lag <= LATE:
            self._tell_held()

    def _fire(self, deadline: Instant) -> None:
        for name in [name for name, due in self._silence_due.items() if due <= deadline]:
            self._check_silence(name)
        for watched in self._all:
            if watched.life.wait is not None and watched.life.wait <= deadline:
                self._settle(watched)
            if watched.call.due is not None and watched.call.due <= deadline:
                self._next_round(watched)

    # -- entries

    def _reading(self, reading: Reading) -> None:
        sensor = self.plan.sensors.get(reading.sensor)
        if sensor is None or reading.retained:
            return
        track = self._plant.tracks[reading.sensor]
        time, received = reading.time, reading.received
        if time > received + AHEAD or time < received - 366 * DAY:
            self._clock(received, f"{reading.sensor}'s clock is off")
            time = received
            reading = reading._replace(time=received)
        elif time > received:
            time = received
            reading = reading._replace(time=received)
        if time <= track.heard:
            return
        if time < self.now - LATE:
            self._late(reading)
            return
        self._arrive(time, lag=received - time)
        track.late_since = 0
        if reading.silent_after_seconds is not None:
            track.silent_after = round(reading.silent_after_seconds * SECOND)
        self._outputs += self._plant.accept(reading, sensor, self.now)
        self._heard(reading.sensor)
        for watched in self._judged[reading.sensor]:
            condition, life = watched.watch.condition, watched.life
            verdict = condition.judge(self._plant, self.now, life.standing)
            if verdict.active or verdict.active is not life.truth:
                self._judge(watched, verdict)

    def _heard(self, sensor: str) -> None:
        """A sensor has spoken: look at its own two alarms, and at the depot's silence."""
        track = self._plant.tracks[sensor]
        for own in (self._silent.get(sensor), self._doubted.get(sensor)):
            if own is None:
                continue
            settled = own.life.truth is False
            if settled and (own.watch.record.id == "sensor-silent" or not track.marks):
                continue
            self._judge(own, own.watch.condition.judge(self._plant, self.now, own.life.standing))
        if sensor not in self._silence_due:
            self._await(sensor, track.heard + track.silent_after)
        depot = self._by_key.get("depot-silent/depot")
        if depot is not None and (depot.life.truth is not False or "" not in self._silence_due):
            self._check_silence("")

    def _late(self, reading: Reading) -> None:
        track = self._plant.tracks[reading.sensor]
        if track.late_since == 0:
            track.late_since = reading.received
        elif reading.received - track.late_since > LATE_FOR_LONG:
            behind = (reading.received - reading.time) // MINUTE
            self._clock(reading.received, f"{reading.sensor}'s readings come {behind} min old")

    def _clock(self, time: Instant, told: str) -> None:
        self._arrive(time, lag=0)
        self._plant.told["clock-wrong/sensors"] = told
        self._plant.clock_doubted = time
        self._retold("clock-wrong/sensors", time)
        self._await("clock", time + 5 * MINUTE)

    def _refusal(self, refusal: Refusal) -> None:
        if refusal.sensor not in self.plan.sensors:
            return
        track = self._plant.tracks[refusal.sensor]
        self._arrive(refusal.received, lag=0)
        track.bad("what it sends can't be read", refusal.received)
        self._heard(refusal.sensor)

    def _act(self, act: Act) -> None:
        self._arrive(act.time, lag=0)
        if act.act == "take":
            self._take(act)

    def _take(self, act: Act) -> None:
        number, by = act.fields.get("number"), str(act.fields.get("by", ""))
        for watched in self._all:
            life = watched.life
            if life.number != number or life.number == 0:
                continue
            before = life.state
            if life.take():
                watched.call.stop()
                self._next = None
                name = self.plan.duty.names.get(by, by)
                self._changed(watched, before, by=name)
                others = [p for p in watched.call.told if p != by]
                self._outputs += self._teller.taken(watched, self.now, others, name)
                self._forget_if_normal(watched)

    def _delivery(self, delivery: Delivery) -> None:
        self._arrive(delivery.time, lag=0)
        person = next((p for p in self.plan.duty.on_call if delivery.text.endswith(f"-{p}")), None)
        if person is None:
            return
        key = f"texts-failing/{person}"
        dead = delivery.outcome == "dead"
        if dead:
            self._plant.told[key] = delivery.why or "given up"
        else:
            self._plant.told.pop(key, None)
        self._retold(key, delivery.time)
        if dead:
            self._hurry(delivery.text, person)

    def _hurry(self, text: str, person: str) -> None:
        """A text is a dead letter: whoever is next is told now, not when the pause is over."""
        others = [p for p in self.plan.duty.on_call if p != person]
        for watched in self._all:
            call, number = watched.call, watched.life.number
            about = number > 0 and text.startswith(f"{self.plan.id}-{number}-")
            first_time_round = call.step <= len(others)
            if others and about and call.due is not None and first_time_round:
                self._next_round(watched)

    def _link(self, link: LinkChanged) -> None:
        # Does not move time: what waited in the broker comes after the link, and is older.
        self._plant.link_up = link.up
        if link.up:
            self._plant.told.pop("link-lost/broker", None)
            self._listen(link.time)
        else:
            self._plant.told["link-lost/broker"] = link.why or "the connection was lost"
            for name in (*self.plan.sensors, ""):
                self._check_silence(name)
        if self._keeps_house:
            self._retold("link-lost/broker", link.time)

    def _trouble(self, trouble: ServiceTrouble) -> None:
        if not self._keeps_house:
            return
        self._arrive(trouble.time, lag=0)
        key = f"{trouble.trouble}/watch"
        if trouble.present:
            self._plant.told[key] = trouble.sentence
        else:
            self._plant.told.pop(key, None)
        self._retold(key, trouble.time)

    # -- silence

    def _listen(self, time: Instant) -> None:
        """From now on we could hear: silence is counted from here."""
        self._plant.listening_since = time
        for name in (*self.plan.sensors, ""):
            self._check_silence(name)

    def _await(self, name: str, due: Instant) -> None:
        self._silence_due[name] = due
        self._next = None

    def _check_silence(self, name: str) -> None:
        """Judge one silence (a sensor's, "" for the depot's); look again when it could begin."""
        self._silence_due.pop(name, None)
        self._next = None
        if self._lag > LAGGING:
            self._await(name, self.now + LAGGING)
            return
        if name == "clock":
            self._clock_trusted()
            return
        watched = self._by_key.get("depot-silent/depot") if name == "" else self._silent.get(name)
        if watched is None:
            return
        condition = watched.watch.condition
        verdict = condition.judge(self._plant, self.now, watched.life.standing)
        self._judge(watched, verdict)
        if verdict.active is False:
            self._await(name, self._silence_begins(condition, name))

    def _silence_begins(self, condition: object, name: str) -> Instant:
        if isinstance(condition, DepotSilent):
            heard = max(self._plant.last_heard, self._plant.listening_since)
            return heard + round(condition.limit_seconds * SECOND)
        track = self._plant.tracks[name]
        return max(track.heard, self._plant.listening_since) + track.silent_after

    def _clock_trusted(self) -> None:
        if self.now - self._plant.clock_doubted >= 5 * MINUTE:
            self._plant.told.pop("clock-wrong/sensors", None)
            self._retold("clock-wrong/sensors", self.now)
        else:
            self._await("clock", self._plant.clock_doubted + 5 * MINUTE)

    # -- alarms

    def _retold(self, key: str, time: Instant) -> None:
        watched = self._by_key.get(key)
        if watched is not None:
            verdict = watched.watch.condition.judge(self._plant, self.now, watched.life.standing)
            self._judge(watched, verdict, time)

    def _judge(self, watched: Watched, verdict: Verdict, time: Instant | None = None) -> None:
        life = watched.life
        waited = life.wait
        now = max(self.now, time) if time is not None else self.now
        life.judge(verdict, now)
        if life.wait != waited:
            self._next = None
        if life.wait is not None and life.wait <= now:
            self._settle(watched, now)

    def _settle(self, watched: Watched, now: Instant | None = None) -> None:
        """A delay is over: let the alarm become what its condition says."""
        life = watched.life
        before = life.state
        if not life.suppressed and any(
            cause.life.standing and not cause.life.suppressed for cause in watched.causes
        ):
            life.suppress()
        self._next = None
        if not life.due(self.now if now is None else now):
            return
        fresh = life.standing and life.state is AlarmState.UNACKNOWLEDGED and life.number == 0
        if fresh:
            self._number += 1
            life.number = self._number
        self._changed(watched, before)
        self._follow(watched, fresh=fresh)
        for consequence in watched.consequences:
            self._weigh(consequence)

    def _follow(self, watched: Watched, *, fresh: bool) -> None:
        """Tell people what a change of state means for them."""
        life, call = watched.life, watched.call
        if life.state is AlarmState.UNACKNOWLEDGED:
            if fresh:
                call.begin()
            call.step = 0
            self._begin_call(watched)
        elif not life.standing:
            call.stop()
            self._outputs += self._teller.over(watched, self.now)
            self._forget_if_normal(watched)

    def _forget_if_normal(self, watched: Watched) -> None:
        if watched.life.state is AlarmState.NORMAL:
            watched.life.number = 0

    def _weigh(self, consequence: Watched) -> None:
        """A cause came or went: hold its consequence back, or judge it afresh."""
        life = consequence.life
        caused = any(c.life.standing and not c.life.suppressed for c in consequence.causes)
        if caused == life.suppressed or (caused and not life.standing):
            return
        before = life.state
        if caused:
            life.suppress()
        else:
            life.release(self.now)
        self._next = None
        self._changed(consequence, before)

    def _changed(self, watched: Watched, before: AlarmState, by: str = "") -> None:
        life = watched.life
        if life.state is before:
            return
        condition, verdict = watched.watch.condition, life.verdict
        self._outputs.append(
            AlarmChanged(
                time=self.now,
                depot=self.plan.id,
                alarm=condition.alarm,
                source=condition.source,
                number=life.number,
                before=before,
                state=life.state,
                priority=watched.watch.priority,
                value=verdict.value,
                limit=verdict.limit,
                unit=verdict.unit,
                sentence=self._teller.sentence(watched),
                by=by,
            )
        )

    # -- telling

    def _begin_call(self, watched: Watched) -> None:
        if self._lag > LATE:
            watched.call.held = True
            if self._held_since is None:
                self._held_since = self.now
            return
        morning = self._teller.not_before(watched.watch.priority, self.now)
        if morning > self.now:
            watched.call.due = morning
            self._next = None
            return
        self._next_round(watched)

    def _next_round(self, watched: Watched) -> None:
        watched.call.due = None
        if watched.life.state is AlarmState.UNACKNOWLEDGED:
            self._outputs += self._teller.round(watched, self.now)
        self._next = None

    def _tell_held(self) -> None:
        """The present is reached: what still stands is told, the rest is one summary."""
        since, self._held_since = self._held_since or self.now, None
        gone: list[int] = []
        for watched in self._all:
            if not watched.call.held:
                continue
            watched.call.held = False
            if watched.life.standing:
                self._begin_call(watched)
            else:
                gone.append(watched.life.number)
        if gone:
            self._outputs += self._teller.summary(sorted(gone), since, self.now)

    # -- plain data

    def snapshot(self) -> bytes:
        """The whole state as bytes, for `restore`; the same state gives the same bytes."""
        return orjson.dumps(
            {
                "version": STATE_VERSION,
                "now": self.now,
                "number": self._number,
                "held_since": self._held_since,
                "summaries": self._teller.summaries,
                "silence_due": self._silence_due,
                "plant": self._plant.freeze(),
                "alarms": {w.key: [w.life.freeze(), w.call.freeze()] for w in self._all},
            },
            option=orjson.OPT_SORT_KEYS,
        )

    def restore(self, snapshot: bytes) -> None:
        """Become what `snapshot` wrote; what the plan no longer names is left behind.

        Raises: ValueError where the bytes are no snapshot of this version.
        """
        data: dict[str, Any] = orjson.loads(snapshot)
        if not isinstance(data, dict) or data.get("version") != STATE_VERSION:
            raise ValueError("not a snapshot of this version's engine")
        self.now, self._number = data["now"], data["number"]
        self._held_since = data["held_since"]
        self._teller.summaries = data["summaries"]
        self._silence_due = {
            name: due
            for name, due in data["silence_due"].items()
            if name in self.plan.sensors or name in ("", "clock")
        }
        self._plant.thaw(data["plant"])
        for key, (life, call) in data["alarms"].items():
            if key in self._by_key:
                self._by_key[key].life.thaw(life)
                self._by_key[key].call.thaw(call)
        self._next = None
