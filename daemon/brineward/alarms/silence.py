"""Silence and disbelief: the alarms about the sensors themselves."""

from dataclasses import dataclass

from brineward.alarms.condition import Facts, Verdict, blind
from brineward.plant.plan import SI_UNITS, SensorPlan
from brineward.plant.spikes import WINDOW
from brineward.plant.state import PlantState
from brineward.readings.instants import SECOND, Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSilent:
    """A sensor has said nothing for longer than it may."""

    alarm: str
    source: str
    sensor: SensorPlan

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each of its readings; the engine's deadline does the rest."""
        return (self.sensor.id,)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Silent beyond its limit?"""
        track = plant.tracks[self.sensor.id]
        heard = max(track.heard, plant.listening_since)
        if heard == 0 or not plant.link_up:
            return blind("nobody has listened for it yet" if heard == 0 else "the link is down")
        limit = track.silent_after
        silent = (now - heard) / SECOND
        return Verdict(now - heard >= limit, round(silent, 0), limit / SECOND, "s")


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorImplausible:
    """A sensor says what can't be, or shows by its course that it can't be believed.

    What can't be: three times running, or half of the time. Its course: it is stuck, it spikes, or
    others contradict it: a thermometer isn't in the brine, a pump delivers and draws no current.
    """

    alarm: str
    source: str
    sensor: SensorPlan

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each of its readings."""
        return (self.sensor.id,)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Not to be believed? While it stands, six good readings in a row are wanted."""
        track = plant.tracks[self.sensor.id]
        nonsense = track.marks & 0b111111 != 0 if standing else track.nonsense
        if track.nonsense or not track.doubt:
            return Verdict(nonsense, None, None, "", {"bad": track.bad_why})
        if track.doubt == "stuck" and track.repeats and track.repeats.stuck_at is not None:
            at, since = round(track.repeats.stuck_at, 9), track.repeats.stuck_since
            unit = SI_UNITS[self.sensor.measures]
            return Verdict(True, at, None, unit, {"shows": "stuck", "since": since})
        if track.doubt == "spiking" and track.spikes:
            facts: Facts = {"shows": "spiking", "count": track.spikes.count, "of": WINDOW}
            return Verdict(True, None, None, "", facts)
        return Verdict(True, None, None, "", {"shows": "contradicted", "bad": track.contradicted})


@dataclass(frozen=True, slots=True, kw_only=True)
class DepotSilent:
    """Not one sensor has spoken for the shortest silence that any of them allows."""

    alarm: str
    source: str
    limit_seconds: float

    @property
    def watches(self) -> tuple[str, ...]:
        """None: the engine judges it by deadline and by the first word after a silence."""
        return ()

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Silent, all of it?"""
        heard = max(plant.last_heard, plant.listening_since)
        if heard == 0 or not plant.link_up:
            return blind("nobody has listened yet" if heard == 0 else "the link is down")
        silent = (now - heard) / SECOND
        return Verdict(silent >= self.limit_seconds, round(silent, 0), self.limit_seconds, "s")
