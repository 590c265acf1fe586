"""The engine of one depot: entries in, outputs out, a pure function of its past.

Its time is the latest entry's that may be believed. Everything that waits (a delay, a silent
sensor, the next person to be texted) is a deadline in its state; deadlines up to an entry's time
fire, in order, before the entry is handled. So the outputs don't depend on how often it is ticked.
"""

from collections.abc import Callable, Sequence
from typing import Any

import orjson

from brineward.alarms.registry import site_of
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import Change
from brineward.engine.modes import DepotModes
from brineward.engine.own_clock import SMALL, OwnClock
from brineward.engine.people import PeoplesAct, PeoplesActs
from brineward.engine.times_believed import (
    FIRST,
    LAGGING,
    LAST,
    LATE_FOR_LONG,
    LONGEST_GAP,
    LONGEST_PAST,
    goes_by_arrival,
    lag_of_act,
    moved,
    time_of,
)
from brineward.plant.plan import DepotPlan
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.plant.trackers import Trackers, forget, restore, snapshots
from brineward.readings.entries import (
    ACTS,
    ClockStepped,
    Entry,
    LinkChanged,
    ModeSet,
    RotaRead,
    ServiceTrouble,
    Started,
    Tick,
)
from brineward.readings.instants import MINUTE, SECOND, Instant, earliest
from brineward.readings.outputs import AlarmState, Output
from brineward.readings.values import Reading, Refusal, TimedBy
from brineward.telling.telling import OLD_NEWS, Telling
from brineward.wording.operator_units import duration

STATE_VERSION = 7
"""Rises when a snapshot's frame changes; each tracker has a version of its own."""

_BY_SENSOR = TimedBy.SENSOR

_PROBES_FROM = 6
"""Of this older version the probes' tests can still be read."""


class DepotEngine:
    """The state of one depot and the one way to change it, `step`.

    `keeps_house`: this depot's people are told about troubles of the service itself.
    """

    def __init__(self, plan: DepotPlan, *, keeps_house: bool = True) -> None:
        self.plan = plan
        self._keeps_house = keeps_house
        self.now: Instant = 0
        site = site_of(plan, keeps_house=keeps_house)
        self._plant, self._watch = site.trackers, site.watch
        self._sensors, self._hearing = site.trackers.sensors, site.watch.hearing
        self._book = AlarmBook(site)
        self._telling = Telling(site, self._book.all)
        self._modes = DepotModes(site, self._book, self._telling, self._told)
        self._trackers = (*self._plant, *self._watch)
        self._clock = OwnClock()
        self._lag = 0
        """How old the news is that is being handled."""
        self._proven = True
        """Is what arrives now known to be of now? Not just after the link came up."""

        self._people = PeoplesActs(site, self._book, self._telling, self._told)
        self._of_now: dict[type, Callable[[Any], Sequence[Output]]] = {
            Tick: lambda tick: (),
            ModeSet: lambda entry: self._modes.set(entry, self.now),
            ServiceTrouble: self._trouble,
            RotaRead: self._rota_read,
            **dict.fromkeys(self._people.kinds, self._by_people),
        }
        """What is of now when it comes: time comes to it first."""

    def step(self, entry: Entry) -> tuple[Output, ...]:
        """Handle one entry; returns what follows from it, in order.

        Entries of other depots must not be given. Never raises for any entry.
        """
        if type(entry) is Reading:
            return self.reading(entry)
        time = time_of(entry)
        # However far what is counted is from it: a start begins with the time that there is.
        begins = type(entry) is Started and FIRST <= time <= LAST
        return tuple(self._other(entry)) if begins or self._is_possible(time) else ()

    def afresh(self) -> "DepotEngine":
        """Another engine of the same depot, which knows of nothing yet."""
        return DepotEngine(self.plan, keeps_house=self._keeps_house)

    def _is_possible(self, shown: Instant) -> bool:
        """Can this machine's clock have shown this, also as the engine counts?"""
        return FIRST <= shown <= LAST and FIRST <= shown - self._clock.skew <= LAST

    def _other(self, entry: Entry) -> Sequence[Output]:
        handle = self._of_now.get(type(entry))
        if handle is not None:
            counted = self._clock.counted
            lag = lag_of_act(entry, self.now, counted) if isinstance(entry, ACTS) else 0
            outputs = self._arrive(counted(time_of(entry)), lag=lag)
            self._proven = self._proven or self._lag <= LAGGING
            return [*outputs, *handle(entry)]
        match entry:
            case Refusal():
                return self._refusal(entry)
            case LinkChanged():
                return self._link(entry)
            case ClockStepped():
                return self._stepped(entry)
            case Started():
                return self._started(entry)
            case _:
                return ()

    @property
    def reached(self) -> Instant:
        """The time that the depot has come to, as this machine's clock shows it."""
        return self.now + self._clock.skew

    @property
    def plant(self) -> Trackers:
        """What is known of the plant; to be read, never changed."""
        return self._plant

    @property
    def next_deadline(self) -> Instant | None:
        """When a tick is next wanted, as this machine's clock shows it; None while nothing waits.

        Just after the link came up it is wanted at once: it says that what waited is through.
        """
        now = None if self._proven else self.now
        due = earliest(self._next_waiting(), self._clock.believed_at, now)
        return None if due is None else due + self._clock.skew

    def _next_waiting(self) -> Instant | None:
        due, round_due = self._book.next_deadline, self._telling.next_deadline
        if round_due is not None and (due is None or round_due < due):
            due = round_due
        mode_due = self._modes.next_deadline
        return mode_due if mode_due is not None and (due is None or mode_due < due) else due

    # -- time

    def _arrive(self, time: Instant, *, lag: int) -> Sequence[Output]:
        """Time has come to `time`: fire what is due up to then, then text what was held."""
        self._lag = lag
        telling = self._telling
        outputs: list[Output] = []
        if time - self.now > LONGEST_GAP:
            telling.resume(time)
        deadline = self._next_waiting()
        if deadline is not None and deadline <= time:
            outputs += self._fire_up_to(time, lag)
        if time > self.now:  # noqa: PLR1730 - max() costs a call with each reading
            self.now = time
        self._modes.follow(self.now)
        if telling.unlooked:
            telling.look_at_clock(self.now)
        if telling.holds():
            outputs += telling.present(self.now, lag)
        believed_at = self._clock.believed_at
        if believed_at is not None and believed_at <= self.now:
            self._take_clock_over()
        return outputs

    def _fire_up_to(self, time: Instant, lag: int) -> list[Output]:
        """What was due up to `time`, in order."""
        book, telling, modes = self._book, self._telling, self._modes
        outputs: list[Output] = []
        while (deadline := self._next_waiting()) is not None and deadline <= time:
            self.now = max(self.now, deadline)
            counts = lag <= LAGGING
            outputs += modes.fire(deadline, self.now, lag)
            outputs += self._told(book.fire(deadline, self.now, silence_counts=counts))
            if not counts:
                book.put_off_looks(deadline, max(self.now, time) + LAGGING)
            if telling.next_deadline is not None and telling.next_deadline <= deadline:
                outputs += telling.rounds_due(deadline, self.now, lag)
        return outputs

    def _told(self, changes: Sequence[Change], now: Instant | None = None) -> list[Output]:
        """Changes of alarms, each with the texts that follow from it."""
        now = self.now if now is None else now
        outputs: list[Output] = []
        for change in changes:
            if change.output is not None:
                outputs.append(change.output)
            outputs += self._telling.follow(change, now, self._lag)
        return outputs

    def _changed(self, tracker: Tracker, now: Instant | None = None) -> list[Output]:
        """Something was learned: judge what depends on it."""
        now = self.now if now is None else now
        return self._told(self._book.judge_after(tracker, now), now)

    # -- readings

    def reading(self, reading: Reading) -> tuple[Output, ...]:
        """As `step`, of a reading: nearly all entries are."""
        _, name, time, _, received, _, _, timed_by, retained, _ = reading
        sensor = self._sensors.get(name)
        if sensor is None or retained or not FIRST <= received <= LAST:
            return ()
        outputs: Sequence[Output] = ()
        dated, skew = True, 0
        if self._clock.skew:
            if not self._is_possible(received):
                return ()
            received = self._weighed(reading)
            skew = self._clock.skew
        if timed_by is not _BY_SENSOR or not received - LONGEST_PAST <= time <= received:
            if goes_by_arrival(reading, received):
                if not self._is_now(received):
                    # It came with what had waited: nobody knows when it was measured.
                    sensor.heard = max(sensor.heard, self.now)
                    return ()
                outputs = self._undated(sensor, reading, received)
                received, skew = received + skew - self._clock.skew, self._clock.skew
            # After a small step back what arrives is still newer than what is known.
            time = self.now + 1 if 0 < self.now - received <= LAGGING else received
            reading, dated = reading._replace(time=time), False
        if time <= sensor.newest:
            return (*outputs, *self._gaps(self._watch.missing.too_late(sensor, time)))
        if time < self.now - OLD_NEWS:
            return (*outputs, *self._late(sensor, time, received))
        found = self._arrive(time, lag=received - time)
        reading = moved(reading, skew - self._clock.skew)
        time = reading.time
        self._proven = self._proven or self._lag <= LAGGING
        sensor.late_since = 0
        if dated and time - sensor.newest > sensor.silent_after:
            found = (*found, *self._gaps(self._watch.missing.came(sensor, time)))
        taken = self._plant.take(sensor, reading)
        heard = self._heard(sensor)
        return (*outputs, *found, *taken, *heard) if outputs or found or taken or heard else ()

    def _gaps(self, changed: bool) -> Sequence[Output]:
        """Judge again where a gap of the last outage was found, or filled up."""
        return self._changed(self._watch.missing) if changed else ()

    def _heard(self, sensor: SensorTracker) -> list[Output]:
        """A sensor has reported: judge what depends on it, and on the depot's silence."""
        changes = self._book.hear(sensor, self.now)
        hearing, measured = self._hearing, sensor.measured
        if measured > hearing.last_heard:
            hearing.last_heard = measured
            changes += self._book.hear(hearing, self.now)
        return self._told(changes) if changes else []

    def _is_now(self, received: Instant) -> bool:
        """Does what arrives come from now, and not from what had waited somewhere?

        Where a gateway is always somewhat late, what others send is still of now.
        """
        return self._proven and (self._lag <= LAGGING or received - self.now <= OLD_NEWS)

    def _undated(
        self, sensor: SensorTracker, reading: Reading, received: Instant
    ) -> Sequence[Output]:
        """A reading goes by its arrival: where its sensor named a time, that can't be right."""
        if reading.timed_by is not _BY_SENSOR:
            return ()
        return self._doubt(sensor, "is wrong", received)

    def _doubt(self, sensor: SensorTracker, how: str, received: Instant) -> list[Output]:
        """A sensor's clock has shown itself wrong."""
        outputs: Sequence[Output] = ()
        if self._is_now(received):
            outputs = self._arrive(received, lag=0)
        clock = self._watch.sensor_clocks
        clock.doubt(f"{self.plan.name_of(sensor.plan.id)}: its clock {how}", self.now)
        return [*outputs, *self._changed(clock)]

    def _late(self, sensor: SensorTracker, time: Instant, received: Instant) -> Sequence[Output]:
        found = self._gaps(self._watch.missing.too_late(sensor, time))
        if sensor.late_since == 0:
            sensor.late_since = received
        elif received - sensor.late_since > LATE_FOR_LONG:
            behind = (received - time) // MINUTE
            return (*found, *self._doubt(sensor, f"or gateway is {behind} min behind", received))
        return found

    def _refusal(self, refusal: Refusal) -> Sequence[Output]:
        sensor = self._sensors.get(refusal.sensor)
        if sensor is None:
            return ()
        # It moves no time: among what had waited, nobody knows when it was sent.
        received = self._clock.counted(refusal.received)
        at = max(self.now, received) if self._is_now(received) else self.now
        sensor.hastened = False  # no reading, so it has asked for nothing
        sensor.bad("what it sends can't be read", at)
        if self.now == 0:
            return ()  # nobody knows yet what time it is
        return self._told(self._book.hear(sensor, self.now))

    # -- other entries

    def _by_people(self, entry: PeoplesAct) -> Sequence[Output]:
        return self._people.done(entry, self.now, self._lag)

    def _trouble(self, trouble: ServiceTrouble) -> Sequence[Output]:
        self._watch.troubles.changed(trouble)
        return self._changed(self._watch.troubles)

    def _rota_read(self, read: RotaRead) -> Sequence[Output]:
        self._watch.calendar_age.read(self.now)
        texts = self._telling.rota_read(read.shifts, self.now, self._lag)
        return [*texts, *self._changed(self._watch.calendar_age)]

    def _link(self, entry: LinkChanged) -> Sequence[Output]:
        # Does not move time: what waited in the broker comes after the link, and is older.
        time = self._clock.counted(entry.time)
        link = self._watch.link
        link.changed(entry)
        self._watch.missing.link_changed(entry, time)
        if entry.up:
            link.listening_since = time
            self._proven = False
        self._lag = 0
        return self._changed(link, max(self.now, time))

    def _started(self, entry: Started) -> Sequence[Output]:
        time = self._clock.counted(entry.time)
        if time < self.now - LAGGING:
            # The clock was set back while nobody watched: its time is the one there is.
            self._clock.stepped(time - self.now, self.now)
            self._take_clock_over()
        self._telling.resume(time)
        self._watch.missing.outage(self.now)
        self._watch.link.listening_since = time
        self._watch.calendar_age.waits(time)
        self._lag = 0
        changed = self._changed(self._watch.calendar_age)
        return [*changed, *self._changed(self._watch.link)]

    # -- this machine's clock

    def _weighed(self, reading: Reading) -> Instant:
        """When a reading was received, as the engine counts; it may show which clock is right."""
        if reading.timed_by is TimedBy.SENSOR and self._clock.agrees(
            reading.received, reading.time, self.now
        ):
            self._take_clock_over()
        return self._clock.counted(reading.received)

    def _stepped(self, step: ClockStepped) -> Sequence[Output]:
        skew = self._clock.skew + step.by
        if not all(FIRST <= one <= LAST for one in (step.time - skew, self.now + skew)):
            return ()
        at = max(self.now, step.time - skew)
        self._clock.stepped(step.by, at)
        if abs(step.by) <= SMALL:
            return ()
        clock = self._watch.own_clock
        way = "ahead" if step.by > 0 else "back"
        far = duration(abs(step.by) / SECOND)
        clock.doubt(f"the brineward box's clock was set {way} by {far}", at)
        return self._changed(clock, at)

    def _take_clock_over(self) -> None:
        """Count by the clock as it was set: what waits goes on waiting as long as it had to.

        What lasts is remembered by the new times; the rest is learned again.
        """
        by = self._clock.taken_over()
        self.now += by
        blank = site_of(self.plan)
        forget(self._plant, blank.trackers)
        forget(self._watch, blank.watch)
        for tracker in self._trackers:
            if tracker.lasting:
                tracker.shift(by)
        self._watch.link.listening_since = self.now
        self._modes.shift(by, self.now)
        self._telling.shift(by)
        self._book.shift(by, self.now)

    # -- plain data

    def state_of(self, alarm: str, source: str) -> AlarmState | None:
        """The state of an alarm; None where it isn't watched."""
        key = f"{alarm}/{source}"
        return next((booked.life.state for booked in self._book.all if booked.key == key), None)

    def count_on(self, *, number: int, unnumbered: int) -> None:
        """Numbers up to these have been given away: what comes is numbered after them."""
        self._book.number = max(self._book.number, number)
        self._telling.count_on(unnumbered)

    def snapshot(self) -> bytes:
        """The whole state as bytes, for `restore`; the same state gives the same bytes."""
        return orjson.dumps(
            {
                "version": STATE_VERSION,
                "now": self.now,
                "news": [self._lag, self._proven],
                "clock": self._clock.snapshot(),
                "trackers": snapshots(self._trackers),
                "book": self._book.snapshot(),
                "telling": self._telling.snapshot(),
                "modes": self._modes.snapshot(),
            },
            option=orjson.OPT_SORT_KEYS,
        )

    def restore(self, snapshot: bytes) -> list[str]:
        """Become what `snapshot` wrote; returns the names of trackers that start afresh.

        What the plan no longer names is left behind. Raises: ValueError where the bytes are no
        snapshot with this version's frame.
        """
        data: Any = orjson.loads(snapshot)
        version = data.get("version") if isinstance(data, dict) else None
        if version == _PROBES_FROM:
            # What people's tests have taught of a probe is not to be had again.
            tests = {f"probe/{name}": [1, kept] for name, kept in data["plant"]["probes"].items()}
            return restore(self._trackers, tests)
        if version != STATE_VERSION:
            raise ValueError("not a snapshot of this version's engine")
        self.now = data["now"]
        self._lag, self._proven = data["news"]
        self._clock.restore(data["clock"])
        afresh = restore(self._trackers, data["trackers"])
        self._book.restore(data["book"])
        self._telling.restore(data["telling"])
        if "modes" in data:
            self._modes.restore(data["modes"])
        return afresh
