"""A hopper that runs over into the containment: what is told of it, once each, and what is not."""

from dataclasses import replace

import pytest

from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmState, Priority
from depots import sensor
from engine.scripted import Script, text_of
from wet_depot import AROUND_M2, WetWorld, wet_depot, with_hopper

OVERFLOW, WET, UPLIFT = "overflow-ahead", "containment-wet", "uplift"
HOPPER_M2 = 3.1416
FREE_M2 = AROUND_M2 - HOPPER_M2
"""The containment's floor that neither stands on."""
BRIM, OUTLET, RIM = 1.8, 1.4, 0.6
HOUR = 3600


def hopper_depot() -> DepotPlan:
    """The tank, the containment, and a hopper of 2 m whose liquid's level is measured."""
    its = with_hopper(wet_depot("running"))
    its = replace(its, duty=replace(its.duty, daily_minutes=None))
    level = sensor("hopper", Measure.LEVEL, "hopper", low=0.0, standard_uncertainty=0.0058)
    return replace(its, sensors={**its.sensors, "hopper": level})


class HopperWorld(WetWorld):
    """Water comes into a hopper whose outlet is blocked, and what is over its brim spills."""

    def __init__(self, hopper: float = OUTLET, **values: float) -> None:
        super().__init__(**values)
        self.hopper, self.water, self.leaves, self.rests_at = hopper, 0.0, 0.0, 0.0
        """m, m3/s in, m3/s out, and the level below which none leaves."""
        self.noise["hopper"] = 0.003

    def step(self) -> None:
        """A second passes."""
        self.hopper += self.water / HOPPER_M2
        if self.hopper > self.rests_at:
            self.hopper = max(self.rests_at, self.hopper - self.leaves / HOPPER_M2)
        spilt = max(0.0, self.hopper - BRIM) * HOPPER_M2
        self.gain = spilt * AROUND_M2 / FREE_M2
        self.hopper = min(self.hopper, BRIM)
        super().step()
        self.outside = min(self.outside, RIM)

    def truth(self, sensor: str) -> float:
        """What a perfect sensor reads."""
        return self.hopper if sensor == "hopper" else super().truth(sensor)


def runs_over(rate: float, *, until: float) -> Script:
    """Water from ten minutes on, so many m3/s; the overflow is taken, each time that it comes."""
    script = Script(hopper_depot(), world=HopperWorld(level=2.0)).at(600, water=rate)
    for took in (2900, 10_500, 18_000):
        script.take_at(took, number=1)
    return script.run(until)


def test_a_containment_that_fills_to_its_rim_is_told_though_its_cause_is_known() -> None:
    """3 m3/h fill it in four hours. While it is far from its rim the overflow's text
    says it all; two hours before it is full it is texted to the person on call, once, and the rim
    itself is nothing new."""
    script = runs_over(3.0 / HOUR, until=6 * HOUR)
    assert script.world.truth("outside") == RIM
    overflow, *_ = script.raised(OVERFLOW, "hopper")
    (wet,) = script.raised(WET)
    held = [one for one in script.changes(WET) if one.state is AlarmState.SUPPRESSED]
    assert len(held) == 1, "until then it is held back"
    assert overflow + 1.5 * HOUR < wet
    full = 600 + ((BRIM - OUTLET) * HOPPER_M2 + RIM * FREE_M2) / (3.0 / HOUR)
    assert full - 2.6 * HOUR < wet < full - 1.75 * HOUR, "its rate is known to a quarter"
    texts = [one for one in script.texts("raised") if "ontainment wet" in text_of(one)]
    assert texts[0].priority is Priority.HIGH
    assert "containment wet, hopper overflow?" in text_of(texts[0])
    assert "Full in 11" in text_of(texts[0])
    last = [text_of(one) for one in script.texts("again") if "full to its rim" in text_of(one)][-1]
    assert "Fill pump off (PANEL), THEN shut water." in last, (
        "what stops it, though it rises no more"
    )


def test_a_containment_that_is_far_from_its_rim_stays_its_causes() -> None:
    """An hour of it, and then it stops: the overflow was told, and nothing besides."""
    script = runs_over(3.0 / HOUR, until=5700)
    assert script.raised(OVERFLOW, "hopper")
    assert script.state(WET) is AlarmState.SUPPRESSED
    assert script.raised(WET) == script.raised(UPLIFT) == []


def test_what_was_told_before_the_overflow_is_told_again_as_grave() -> None:
    """10 cm of water were known and taken as such. That they become a full containment is news,
    though an overflow that was told explains the rise."""
    world = HopperWorld(level=2.0)
    world.outside = 0.10
    script = Script(hopper_depot(), world=world).take_at(900).at(1200, water=9.0 / HOUR)
    script.run(1200 + 1500)
    first = script.raised(WET)
    again = [one for one in script.changes(WET) if one.priority is Priority.HIGH]
    assert len(first) == 2
    assert first[0] < 900
    assert first[1] > 1200
    assert again[-1].state is AlarmState.UNACKNOWLEDGED


def test_what_was_taken_beside_its_cause_is_not_told_again_when_the_cause_comes_again() -> None:
    """It was found grave, told and taken. The water stops, and comes again at a third."""
    script = Script(hopper_depot(), world=HopperWorld(level=2.0)).at(600, water=9.0 / HOUR)
    script.take_at(2400, number=2)
    script.at(3000, water=0.0, leaves=0.002, rests_at=1.6).at(3600, water=3.0 / HOUR, leaves=0.0)
    script.run(5900)
    assert len(script.raised(OVERFLOW, "hopper")) == 2
    assert len(script.raised(WET)) == 1
    script.run(6100)
    assert len(script.raised(WET)) == 2, "an hour after the take, half an hour before its rim"


def test_a_tank_that_is_drained_is_no_leak_that_speaks_up() -> None:
    """As its fall ends it looks for a minute like what the rain brings; it may float, and that was
    told."""
    world = WetWorld(outside=0.01, level=2.0)
    script = Script(wet_depot("running"), world=world).at(600, gain=0.6 / HOUR, extra=-0.004)
    script.run(5400)
    assert script.raised(UPLIFT, "main")
    assert script.raised(WET) == []


def test_a_full_containment_is_grave_though_nothing_rises_any_more() -> None:
    """The service starts beside one that is full, a millimetre under its rim by its sensor."""
    world = HopperWorld(level=2.0)
    world.outside = RIM - 0.001
    script = Script(hopper_depot(), world=world).run(1200)
    (wet,) = [one for one in script.changes(WET) if one.state is AlarmState.UNACKNOWLEDGED]
    assert wet.priority is Priority.HIGH
    assert "full to its rim" in wet.sentence


def test_an_overflow_says_where_it_runs_to() -> None:
    """At the brim: into the containment, where it stands in one."""
    script = runs_over(3.0 / HOUR, until=3000)
    later = [text_of(one) for one in script.texts("raised") if "at its brim" in text_of(one)]
    assert later
    assert all("Runs into containment." in one for one in later)
    its = hopper_depot()
    away = replace(its.vessels["hopper"], in_containment=False)
    its = replace(its, vessels={**its.vessels, "hopper": away})
    script = Script(its, world=HopperWorld(level=2.0)).at(600, water=3.0 / HOUR).run(3000)
    assert script.raised(OVERFLOW, "hopper")
    assert not any("Runs into" in text_of(one) for one in script.texts("raised"))


def comes_free(*, rests_at: float, mode: Mode | None = None, outside: float = 0.37) -> Script:
    """A hopper at its brim, with liquid outside, falls from 1200 s on at 4 L/s."""
    world = HopperWorld(hopper=BRIM, level=2.0)
    world.outside = outside
    script = Script(hopper_depot(), world=world)
    if mode is not None:
        its = script.plan.id
        script.step(ModeSet(depot=its, time=script.time, received=script.time, mode=mode, by=""))
    return script.at(1200, leaves=0.004, rests_at=rests_at).run(3600)


def test_a_hopper_that_falls_back_to_its_outlet_does_not_float() -> None:
    """At its rate it would in a quarter of an hour, but below its outlet nothing leaves it."""
    script = comes_free(rests_at=OUTLET)
    assert script.world.truth("hopper") == OUTLET
    assert script.raised(UPLIFT) == []


@pytest.mark.parametrize("mode", [None, Mode.DRAINING])
def test_a_hopper_that_is_being_emptied_is_told_in_time(mode: Mode | None) -> None:
    """It floats at about 0.42 m: told minutes before, and while the depot is drained from the brim
    on."""
    script = comes_free(rests_at=0.0, mode=mode)
    (raised,) = script.raised(UPLIFT, "hopper")
    reached = 1200 + (BRIM - 0.42) * HOPPER_M2 / 0.004
    early = 1200 if mode is Mode.DRAINING else 1200 + BRIM / 2 * HOPPER_M2 / 0.004
    assert early < raised < reached - 180
    assert mode is None or raised < 1200 + 300


def test_a_hopper_that_stands_nearly_empty_is_told_though_nothing_moves() -> None:
    """0.50 m in it and 0.37 m outside: lifted by over 80 % of what it weighs."""
    world = HopperWorld(hopper=0.50, level=2.0)
    world.outside = 0.37
    script = Script(hopper_depot(), world=world).run(900)
    assert len(script.raised(UPLIFT, "hopper")) == 1
