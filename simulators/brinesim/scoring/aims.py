"""What the alarms are meant to reach, and whether they did. Pure."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from brinesim.scoring.judging import Catch

FALSE_A_MONTH = 0.1
"""False alarms a depot-month, all alarms together: fewer than this."""
FALSE_A_MONTH_ROUGH = 0.3
"""The same where every ailment is doubled."""
TEXTS_A_WEEK = 1.0
"""Texts a depot-week, repeats left out: fewer than this; where every ailment is doubled there is no
such aim."""
MOST_TEXTS = 10
"""Texts to one person within ten minutes: no more than this, whatever goes wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """One aim: a share of these faults that must be told in time."""

    title: str
    kinds: tuple[str, ...]
    share: float
    in_time: Callable[[Catch], bool]
    counts: Callable[[Catch], bool] = lambda catch: True
    """Which catches of these kinds it is about."""
    switch: bool | None = None
    """Only where the pump's valve has a switch, or has none; None: either."""
    needs: str = ""
    """Only where the depot has this sensor; empty: whatever it has."""
    lacks: str = ""
    """Only where it has not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """How far an aim was reached."""

    title: str
    in_time: int
    of: int
    share: float
    """What was wanted."""

    @property
    def met(self) -> bool:
        """Reached?"""
        return self.in_time >= self.share * self.of


def _within(seconds: float) -> Callable[[Catch], bool]:
    return lambda catch: catch.delay_seconds is not None and catch.delay_seconds <= seconds


def _before_harm_by(seconds: float) -> Callable[[Catch], bool]:
    return lambda catch: catch.lead_seconds is not None and catch.lead_seconds >= seconds


def _of_its_batch(catch: Catch) -> bool:
    return catch.since_batch_seconds is not None and catch.since_batch_seconds <= 600.0


def silent_within_seconds(every_seconds: float) -> float:
    """Silence is told after three readings and 30 s, and a minute that lets a silent depot be one.

    Two readings more are allowed: the fault comes between two, and the rest of the depot speaks
    only so often.
    """
    return 3 * every_seconds + 30 + 60 + 2 * every_seconds


def stuck_within_seconds(every_seconds: float) -> float:
    """A stuck sensor is announced after ten minutes, or thirty readings, and the alarm's 90 s.

    Two readings more are allowed, for what came before the fault and was the same by chance.
    """
    return max(600.0, 30 * every_seconds) + 90 + 2 * every_seconds


def idle_current_within_seconds(every_seconds: float) -> float:
    """A current that is stuck at nothing is told by the next run: a minute, and the alarm's 90 s.

    Until then a healthy one says the same. The flow's and the current's readings come once each,
    and another of either may be lost.
    """
    return 60.0 + 90.0 + 4 * every_seconds


def _silence_in_time(catch: Catch) -> bool:
    return _within(silent_within_seconds(catch.every_seconds or 10.0))(catch)


def _stuck_in_time(catch: Catch) -> bool:
    every = catch.every_seconds or 10.0
    told = catch.since_start_seconds
    if catch.sensor == CURRENT and told is not None:
        return told <= idle_current_within_seconds(every)
    return _within(stuck_within_seconds(every))(catch)


CURRENT = "pump-current"
_CLOSED = ("pump-against-closed-valve", "valve-shut-before-pump-off")
_DRY = ("pump-dry", "air-lock")
_STRENGTH = ("weak-brine", "strong-brine", "salt-nearly-gone")

AIMS: tuple[Aim, ...] = (
    Aim(
        title="pump against a closed valve raised within 5 s, by the valve's switch",
        kinds=_CLOSED,
        share=1.0,
        in_time=_within(5.0),
        switch=True,
    ),
    Aim(
        title="pump against a closed valve texted within 65 s, by the valve's switch",
        kinds=_CLOSED,
        share=1.0,
        in_time=lambda catch: catch.texted_seconds is not None and catch.texted_seconds <= 65.0,
        counts=lambda catch: catch.texts_judged,
        switch=True,
    ),
    Aim(
        title="pump against a closed valve told within 60 s, by the level alone",
        kinds=_CLOSED,
        share=0.99,
        in_time=_within(60.0),
        switch=False,
    ),
    Aim(
        title="pump running dry told within 60 s, by its current",
        kinds=_DRY,
        share=0.99,
        in_time=_within(60.0),
        needs=CURRENT,
    ),
    Aim(
        title="pump running dry told within 5 min, by the level alone",
        kinds=_DRY,
        share=0.99,
        in_time=_within(300.0),
        needs="pump-running",
        lacks=CURRENT,
    ),
    Aim(
        title="tripped outlet or lost mains told within 60 s, by a switch",
        kinds=("outlet-tripped", "power-cut"),
        share=1.0,
        in_time=_within(60.0),
        needs="outlet-power",
    ),
    Aim(
        title="runaway fill told",
        kinds=("float-stuck-open",),
        share=1.0,
        in_time=lambda catch: catch.caught,
    ),
    Aim(
        title="runaway fill told 3 min before the brim",
        kinds=("float-stuck-open",),
        share=0.95,
        in_time=_before_harm_by(180.0),
        counts=lambda catch: catch.harm_was_due,
    ),
    Aim(
        title="heater failure told 60 min before 0 degC",
        kinds=("heater-failed",),
        share=0.95,
        in_time=_before_harm_by(3600.0),
        counts=lambda catch: catch.harm_was_due,
    ),
    Aim(
        title="brine off its band by 1 % told within 10 min of the batch's end",
        kinds=_STRENGTH,
        share=0.99,
        in_time=_of_its_batch,
        counts=lambda catch: catch.clearly_off,
    ),
    Aim(
        title="a weak mix told before the tank is under 21.5 %",
        kinds=("weak-brine",),
        share=0.9,
        in_time=lambda c: c.before_lost_seconds is not None and c.before_lost_seconds > 0,
        counts=lambda catch: catch.lost,
    ),
    Aim(
        title="salt that is nearly gone told before the brine is weak",
        kinds=("salt-nearly-gone",),
        share=1.0,
        in_time=_within(0.0),
    ),
    Aim(
        title="salt that runs down through use told 12 h before the brine is weak",
        kinds=("salt-nearly-gone",),
        share=0.95,
        in_time=_within(-12 * 3600.0),
        counts=lambda catch: catch.scenario == "salt-runs-down",
    ),
    Aim(
        title="salt used up told 12 h before the brine is weak, by deliveries alone",
        kinds=("salt-nearly-gone",),
        share=0.95,
        in_time=_within(-12 * 3600.0),
        counts=lambda catch: catch.scenario == "salt-used-up",
        lacks="hopper-salt",
    ),
    Aim(
        title="silent sensor named within its stated time",
        kinds=("sensor-silent",),
        share=1.0,
        in_time=_silence_in_time,
    ),
    Aim(
        title="stuck sensor named within its stated time",
        kinds=("sensor-stuck",),
        share=1.0,
        in_time=_stuck_in_time,
    ),
    Aim(
        title="a tank that will float told 10 min before it does",
        kinds=("tank-empty-in-wet-containment",),
        share=1.0,
        in_time=_before_harm_by(600.0),
        counts=lambda catch: catch.harm_was_due,
    ),
    Aim(
        title="liquid in the containment told within 10 min of 2 cm",
        kinds=("containment-filling",),
        share=1.0,
        in_time=_within(600.0),
    ),
    Aim(
        title="leak of 19 L/h (5 gal/h) told within 12 h in a tank that stands, its water off",
        kinds=("tank-leak",),
        share=0.95,
        in_time=_within(12 * 3600.0),
        counts=lambda catch: catch.scenario == "slow-leak",
    ),
    Aim(
        title="leak of 2 L/h told within 5 days in a tank that stands, its water off",
        kinds=("tank-leak",),
        share=0.95,
        in_time=_within(5 * 86400.0),
        counts=lambda catch: catch.scenario == "weeping-fitting",
    ),
    Aim(
        title="line that loses a quarter told by the second load",
        kinds=("line-leak",),
        share=0.95,
        in_time=_within(4 * 3600.0),
    ),
    Aim(
        title="tank that doesn't fill told within an hour of its load",
        kinds=("float-stuck-shut",),
        share=1.0,
        in_time=lambda catch: (
            catch.since_start_seconds is not None and catch.since_start_seconds <= 3600.0
        ),
    ),
)


def reached(catches: Sequence[Catch], *, sensors: Sequence[str]) -> tuple[Reached, ...]:
    """How far each aim was reached that these catches say anything of."""
    has_switch = "hose-valve-open" in sensors
    found = []
    for aim in AIMS:
        if aim.switch is not None and aim.switch is not has_switch:
            continue
        if aim.lacks in sensors or (aim.needs and aim.needs not in sensors):
            continue
        about = [c for c in catches if c.kind in aim.kinds and aim.counts(c)]
        if about:
            told = sum(aim.in_time(c) for c in about)
            found.append(Reached(title=aim.title, in_time=told, of=len(about), share=aim.share))
    return tuple(found)
