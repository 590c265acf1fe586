"""The engine of one depot: entries in, outputs out, a pure function of its past.

Its time is the latest entry's. Everything that waits (a delay, a silent sensor, the next person
to be told) is a deadline in its state; deadlines up to an entry's time fire, in order, before the
entry is handled. So the outputs don't depend on how often it is ticked.
"""

from typing import Any

import orjson

from brineward.alarms.silence import DepotSilent, SensorImplausible, SensorSilent
from brineward.engine.desk import OLD_NEWS, Desk, Watched
from brineward.plant.hand_tests import RefusedTest, hand_test
from brineward.plant.plan import DepotPlan, SensorPlan
from brineward.plant.probes import ODD_FROM
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
from brineward.readings.instants import (
    DAY,
    MINUTE,
    SECOND,
    Instant,
    instant_from_rfc3339,
)
from brineward.readings.outputs import Output
from brineward.readings.values import Reading, Refusal

STATE_VERSION = 6
"""Rises when a snapshot's shape changes."""

LAGGING = MINUTE
"""While news is older than this, silence says nothing: each topic comes in its own order."""

LONGEST_GAP = DAY
"""A step of time longer than this was no watch: a machine that slept, or a clock set anew."""

FIRST, LAST = 0, instant_from_rfc3339("9000-01-01T00:00:00Z")
"""What is from another time than this changes nothing: no clock of ours has shown it."""

AHEAD = 2 * MINUTE
"""A reading from further in the future than this shows a wrong clock."""

LATE_FOR_LONG = 10 * MINUTE
"""Readings that come late for longer than this come from a clock that is behind."""

CLOCK_TRUSTED_AFTER = 5 * MINUTE

LONGEST_SILENCE_SECONDS = 7 * 86_400.0
"""What a sensor itself may ask for as its silence at most."""

_DEPOT, _CLOCK = "", "clock"  # names of silences that are no sensor's


class DepotEngine:
    """The state of one depot and the one way to change it, `step`.

    `keeps_house`: this depot's people are told of troubles of the watch itself.
    """

    def __init__(self, plan: DepotPlan, *, keeps_house: bool = True) -> None:
        self.plan = plan
        self.now: Instant = 0
        self._plant = PlantState(plan)
        self._desk = Desk(plan)
        self._arriving: Instant = 0
        """The time that the entry under way brings."""
        self._keeps_house = keeps_house
        self._silence_due: dict[str, Instant] = {}
        self._silent: dict[str, Watched] = {}
        self._doubted: dict[str, Watched] = {}
        self._judged: dict[str, tuple[Watched, ...]] = {}
        self._wire()

    def _wire(self) -> None:
        judged: dict[str, list[Watched]] = {sensor: [] for sensor in self.plan.sensors}
        for watched in self._desk.all:
            condition = watched.watch.condition
            if isinstance(condition, SensorSilent):
                self._silent[condition.source] = watched
            elif isinstance(condition, SensorImplausible):
                self._doubted[condition.source] = watched
            elif isinstance(condition, DepotSilent):
                self._silent[_DEPOT] = watched
            else:
                for sensor in condition.watches:
                    judged[sensor].append(watched)
        self._judged = {sensor: tuple(found) for sensor, found in judged.items()}

    def step(self, entry: Entry) -> tuple[Output, ...]:
        """Handle one entry; returns what follows from it, in order.

        Entries of other depots must not be given. Never raises for any entry.
        """
        self._desk.outputs = []
        if not FIRST <= _time_of(entry) <= LAST:
            return ()
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
                self._desk.resume(entry.time)
                self._listen(entry.time)
            case ServiceTrouble():
                self._trouble(entry)
        return tuple(self._desk.outputs)

    @property
    def plant(self) -> PlantState:
        """What is known of the plant; to be read, never changed."""
        return self._plant

    @property
    def next_deadline(self) -> Instant | None:
        """When a tick is next wanted; None while nothing waits."""
        silence = min(self._silence_due.values(), default=None)
        alarm = self._desk.next_deadline
        if silence is None or alarm is None:
            return silence if alarm is None else alarm
        return min(silence, alarm)

    # -- time

    def _arrive(self, time: Instant, *, lag: int) -> None:
        """Time has come to `time`: fire what is due up to then, then tell what was held."""
        self._desk.lag = lag
        self._arriving = time
        if time - self.now > LONGEST_GAP:
            self._desk.resume(time)
        while (deadline := self.next_deadline) is not None and deadline <= time:
            self.now = max(self.now, deadline)
            for name in [name for name, due in self._silence_due.items() if due <= deadline]:
                self._check_silence(name)
            self._desk.fire(deadline, self.now)
        self.now = max(self.now, time)
        self._desk.tell_held(self.now)

    # -- entries

    def _reading(self, reading: Reading) -> None:
        sensor = self.plan.sensors.get(reading.sensor)
        if sensor is None or reading.retained:
            return
        reading = self._timed(reading)
        track = self._plant.tracks[reading.sensor]
        if reading.time <= track.heard:
            return
        if reading.time < self.now - OLD_NEWS:
            self._late(reading)
            return
        self._arrive(reading.time, lag=reading.received - reading.time)
        track.late_since = 0
        asked = reading.silent_after_seconds
        if asked is not None and asked > 0:
            track.ask(round(min(asked, LONGEST_SILENCE_SECONDS) * SECOND))
        self._judge_reading(reading, sensor)

    def _judge_reading(self, reading: Reading, sensor: SensorPlan) -> None:
        self._desk.outputs += self._plant.accept(reading, sensor, self.now)
        self._heard(reading.sensor)
        for watched in self._judged[reading.sensor]:
            life = watched.life
            verdict = watched.watch.condition.judge(self._plant, self.now, life.standing)
            if verdict.active or verdict.active is not life.truth:
                self._desk.judge(watched, verdict, self.now)

    def _timed(self, reading: Reading) -> Reading:
        """The reading with a time that can be: its arrival where its own clock is wrong."""
        time, received = reading.time, reading.received
        if time > received + AHEAD or time < received - 366 * DAY:
            self._clock(received, f"{reading.sensor}'s clock is off")
            return reading._replace(time=received)
        return reading if time <= received else reading._replace(time=received)

    def _late(self, reading: Reading) -> None:
        track = self._plant.tracks[reading.sensor]
        if track.late_since == 0:
            track.late_since = reading.received
        elif reading.received - track.late_since > LATE_FOR_LONG:
            behind = (reading.received - reading.time) // MINUTE
            self._clock(reading.received, f"{reading.sensor}'s readings come {behind} min old")

    def _refusal(self, refusal: Refusal) -> None:
        if refusal.sensor not in self.plan.sensors:
            return
        self._arrive(refusal.received, lag=0)
        self._plant.tracks[refusal.sensor].bad("what it sends can't be read", refusal.received)
        self._heard(refusal.sensor)

    def _act(self, act: Act) -> None:
        self._arrive(act.time, lag=0)
        if act.act == "take":
            self._desk.take(act.fields.get("number"), str(act.fields.get("by", "")), self.now)
        elif act.act == "answer":
            self._answer(act)
        elif act.act == "test":
            self._test(act)

    def _test(self, act: Act) -> None:
        """A hydrometer test: what it teaches of its vessel's probe, and what it makes one ask."""
        try:
            test = hand_test(act.fields, act.time)
        except RefusedTest:
            return
        probe = self._plant.probes.get(test.vessel)
        if probe is None:
            return
        probe.take(test)
        factor = probe.factor(self.plan.id, test.vessel, self.now)
        if factor is not None:
            self._desk.outputs.append(factor)
        self._tell(f"probe-drifted/{test.vessel}", probe.question(odd_from=ODD_FROM), self.now)

    def _answer(self, act: Act) -> None:
        """Somebody's text has been answered; one who opted out can't be told of alarms any more."""
        person, body = str(act.fields.get("person", "")), str(act.fields.get("body", ""))
        if act.fields.get("kind") == "opted out":
            self._tell(f"texts-failing/{person}", "opted out of texts", self.now)
        if body:
            self._desk.outputs.append(self._desk.teller.answer(person, body, self.now))

    def _delivery(self, delivery: Delivery) -> None:
        self._arrive(delivery.time, lag=0)
        number, _, _, person = _parts_of(delivery.text, self.plan.id)
        if person not in self.plan.duty.on_call:
            return
        key = f"texts-failing/{person}"
        if delivery.outcome == "dead":
            self._tell(key, delivery.why or "given up", self.now)
            known = number.isdecimal() and len(number) < 16
            self._desk.hurry(int(number) if known else 0, person, self.now)
        else:
            self._tell(key, "", self.now)

    def _link(self, link: LinkChanged) -> None:
        # Does not move time: what waited in the broker comes after the link, and is older.
        self._plant.link_up = link.up
        if link.up:
            self._listen(link.time)
        else:
            self._check_all_silences()
        if self._keeps_house:
            why = "" if link.up else link.why or "the connection was lost"
            self._tell("link-lost/broker", why, max(self.now, link.time))

    def _trouble(self, trouble: ServiceTrouble) -> None:
        if self._keeps_house:
            self._arrive(trouble.time, lag=0)
            sentence = trouble.sentence if trouble.present else ""
            self._tell(f"{trouble.trouble}/watch", sentence, self.now)

    def _tell(self, key: str, sentence: str, now: Instant) -> None:
        """A condition that others judge: a sentence while it holds, empty when it doesn't."""
        self._plant.told[key] = sentence
        watched = self._desk.by_key.get(key)
        if watched is not None:
            verdict = watched.watch.condition.judge(self._plant, now, watched.life.standing)
            self._desk.judge(watched, verdict, now)

    # -- silence and clocks

    def _listen(self, time: Instant) -> None:
        """From now on we could hear: silence is counted from here."""
        self._plant.listening_since = time
        self._check_all_silences()

    def _heard(self, sensor: str) -> None:
        """A sensor has spoken: look at its own two alarms, and at the depot's silence."""
        track = self._plant.tracks[sensor]
        silent, doubted = self._silent.get(sensor), self._doubted.get(sensor)
        odd = track.marks or track.doubt
        if doubted is not None and (odd or doubted.life.truth is not False):
            self._judge_now(doubted)
        if silent is not None and silent.life.truth is not False:
            self._judge_now(silent)
        if sensor not in self._silence_due:
            self._silence_due[sensor] = track.heard + track.silent_after
        depot = self._silent.get(_DEPOT)
        if depot is not None and (depot.life.truth is not False or _DEPOT not in self._silence_due):
            self._check_silence(_DEPOT)

    def _judge_now(self, watched: Watched) -> None:
        verdict = watched.watch.condition.judge(self._plant, self.now, watched.life.standing)
        self._desk.judge(watched, verdict, self.now)

    def _check_all_silences(self) -> None:
        self._desk.lag = 0
        for name in (*self.plan.sensors, _DEPOT):
            self._check_silence(name)

    def _check_silence(self, name: str) -> None:
        """Judge one silence; look again when it could begin."""
        self._silence_due.pop(name, None)
        if self._desk.lag > LAGGING:
            self._silence_due[name] = max(self.now, self._arriving) + LAGGING
        elif name == _CLOCK:
            self._check_clock()
        elif (watched := self._silent.get(name)) is not None:
            self._judge_now(watched)
            if watched.life.truth is False:
                self._silence_due[name] = self._silence_begins(name)

    def _silence_begins(self, name: str) -> Instant:
        since = self._plant.listening_since
        if name == _DEPOT:
            condition = self._silent[_DEPOT].watch.condition
            limit = condition.limit_seconds if isinstance(condition, DepotSilent) else 0.0
            return max(self._plant.last_heard, since) + round(limit * SECOND)
        track = self._plant.tracks[name]
        return max(track.heard, since) + track.silent_after

    def _clock(self, time: Instant, told: str) -> None:
        self._arrive(time, lag=0)
        self._plant.clock_doubted = time
        self._tell("clock-wrong/sensors", told, self.now)
        self._silence_due[_CLOCK] = time + CLOCK_TRUSTED_AFTER

    def _check_clock(self) -> None:
        trusted = self._plant.clock_doubted + CLOCK_TRUSTED_AFTER
        if self.now >= trusted:
            self._tell("clock-wrong/sensors", "", self.now)
        else:
            self._silence_due[_CLOCK] = trusted

    # -- plain data

    def count_on(self, *, number: int, letters: int) -> None:
        """Numbers up to these have been given away: what comes is numbered after them."""
        self._desk.number = max(self._desk.number, number)
        self._desk.teller.letters = max(self._desk.teller.letters, letters)

    def snapshot(self) -> bytes:
        """The whole state as bytes, for `restore`; the same state gives the same bytes."""
        return orjson.dumps(
            {
                "version": STATE_VERSION,
                "now": self.now,
                "silence_due": self._silence_due,
                "plant": self._plant.freeze(),
                "desk": self._desk.freeze(),
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
        self.now = data["now"]
        self._silence_due = {
            name: due
            for name, due in data["silence_due"].items()
            if name in self.plan.sensors or name in (_DEPOT, _CLOCK)
        }
        self._plant.thaw(data["plant"])
        self._desk.thaw(data["desk"])


def _time_of(entry: Entry) -> Instant:
    """By our own clock, where the entry says that."""
    return entry.received if isinstance(entry, Reading | Refusal) else entry.time


def _parts_of(text: str, depot: str) -> tuple[str, str, str, str]:
    """Number, kind, count and person of a text's id, as `TextDue.id` writes it."""
    parts = text.removeprefix(f"{depot}-").split("-", 3)
    return (parts[0], parts[1], parts[2], parts[3]) if len(parts) == 4 else ("", "", "", "")
