"""The decision of least cost: how far outside its band brine must be before a text is worth it."""

import random
from math import erf, sqrt

import pytest

from brineward.alarms.decision import (
    AS_LIKELY_AS_NOT,
    SELDOM_OFF,
    SILENCE_STRONG_COLD,
    SILENCE_STRONG_MILD,
    SILENCE_WEAK,
    silence_strong,
    uncertainties_outside,
)
from brineward.engine.engine import Engine
from brineward.plant.cold_ahead import COLDER_K, cold_ahead
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import AlarmChanged, AlarmState, Output
from depots import START, brine, by_hand, plan, reading, sensor

STRONG = "brine-strong"
OUTDOORS = sensor("yard", Measure.TEMPERATURE, "outdoors", every_seconds=600.0)


@pytest.mark.parametrize("odds", [0.05, SELDOM_OFF, 1.0, 3.0])
@pytest.mark.parametrize("silence", [0.5, 1.0, 4.0])
def test_at_the_margin_both_costs_are_the_same(odds: float, silence: float) -> None:
    """Posterior chance x silence = the rest x a false text; further out silence costs more."""
    z = uncertainties_outside(odds, silence)
    beyond = 0.5 * (1 + erf(z / sqrt(2)))
    chance = odds * beyond / (odds * beyond + (1 - beyond))
    assert chance * silence == pytest.approx(1 - chance, rel=1e-9)


def test_the_margins_that_hold() -> None:
    """One standard uncertainty as ever; none once the fill itself was off the band."""
    assert uncertainties_outside(SELDOM_OFF, SILENCE_WEAK) == pytest.approx(1.0, abs=0.001)
    assert uncertainties_outside(SELDOM_OFF, SILENCE_STRONG_MILD) == pytest.approx(1.36, abs=0.01)
    assert uncertainties_outside(AS_LIKELY_AS_NOT, SILENCE_STRONG_COLD) == pytest.approx(0.0)
    assert uncertainties_outside(AS_LIKELY_AS_NOT, SILENCE_STRONG_MILD) == pytest.approx(
        0.43, abs=0.01
    )


@pytest.mark.parametrize(
    ("strength", "celsius", "cost"),
    [
        (0.25, -12.0, SILENCE_STRONG_COLD),
        (0.25, -7.0, SILENCE_STRONG_MILD),
        (0.255, -7.5, SILENCE_STRONG_COLD),
        (0.255, 5.0, SILENCE_STRONG_MILD),
        (0.25, -60.0, SILENCE_STRONG_COLD),
        (0.25, None, SILENCE_STRONG_COLD),
        (0.25, float("nan"), SILENCE_STRONG_COLD),
    ],
)
def test_strong_brine_costs_more_where_it_drops_crystals(
    strength: float, celsius: float | None, cost: float
) -> None:
    """25 % does at some -10 degC, 25.5 % at -6 (our saturation line); unknown: cold."""
    assert silence_strong(strength, celsius) == cost


def test_the_cold_ahead_is_the_last_days_and_forgets_what_is_older() -> None:
    """The coldest of 24 hours, less three kelvin; a warm day later the frost is forgotten."""
    its = plan(sensors={"yard": OUTDOORS})
    one = cold_ahead(its, {"yard": SensorTracker(OUTDOORS)})
    assert one is not None
    for hour in range(60):
        celsius = -14.0 if hour == 5 else 2.0
        for minute in (0, 20, 40):
            one.takes["yard"](START + hour * HOUR + minute * MINUTE, celsius + minute / 60)
        expected = -14.0 if 5 <= hour < 5 + 24 else 2.0
        assert one.expected_c(START + hour * HOUR + 50 * MINUTE) == expected - COLDER_K
    again = cold_ahead(its, {"yard": SensorTracker(OUTDOORS)})
    assert again is not None
    again.restore(one.snapshot())
    assert again.snapshot() == one.snapshot()
    assert one.expected_c(START + 90 * HOUR) is None
    assert cold_ahead(plan(), {}) is None


class Tank:
    """Brine that is filled with saturated brine after a load, at a depot with this cold."""

    def __init__(self, *, before: float, mix: float, outdoors: float, seed: int = 1) -> None:
        self.tank, self.mix, self.outdoors = before, mix, outdoors
        sensors = {name: plan().sensors[name] for name in ("level", "cond", "temp")}
        self.plan: DepotPlan = plan(sensors={**sensors, "yard": OUTDOORS})
        self.engine = Engine({self.plan.id: self.plan})
        self.level, self.minute = 2.19, 0
        self.outputs: list[Output] = []
        self._draw = random.Random(seed)

    def until(self, minutes: int, *, loading: bool = False) -> "Tank":
        """Play on; a load takes 4 L/s, and the fill runs whenever there is room."""
        for second in range(self.minute * 60, minutes * 60, 10):
            come = 0.009 if self.level < 2.19 else 0.0
            self.tank += (self.mix - self.tank) * come / (4.52 * self.level)
            self.level += (come - (0.04 if loading else 0.0)) / 4.52
            for name, value, noise in (
                ("level", self.level, 0.003),
                ("temp", 8.0, 0.02),
                ("cond", brine(self.tank, 8.0), 0.02),
            ):
                said = value + self._draw.gauss(0.0, noise)
                self.outputs += self.engine.step(reading(name, second, said))
            if second % 600 == 0:
                self.outputs += self.engine.step(reading("yard", second, self.outdoors))
        self.minute = minutes
        return self

    def played(self) -> list[float]:
        """Tested, loaded from, refilled: when it was told to be strong."""
        self.until(20)
        self.outputs += self.engine.step(by_hand(START + 20 * MINUTE, self.tank))
        self.until(30).until(45, loading=True).until(150)
        return [
            (one.time - START) / MINUTE
            for one in self.outputs
            if isinstance(one, AlarmChanged)
            and one.alarm == STRONG
            and one.state is AlarmState.UNACKNOWLEDGED
        ]


def test_brine_just_above_its_band_is_told_where_the_fill_brought_it_there() -> None:
    """From 24.7 % by a saturated fill to 25.1 %: within its doubt, but its cause is known."""
    tank = Tank(before=0.247, mix=0.262, outdoors=-10.0)
    assert len(tank.played()) == 1
    assert 0.25 < tank.tank < 0.2525


@pytest.mark.parametrize(("before", "mix"), [(0.247, 0.247), (0.2505, 0.2505), (0.2515, 0.24)])
def test_the_same_strength_is_not_told_where_no_fill_explains_it(before: float, mix: float) -> None:
    """As likely the probe's or the test's error: by one standard uncertainty, as ever."""
    assert Tank(before=before, mix=mix, outdoors=-10.0).played() == []


def test_clearly_strong_brine_is_told_whatever_the_weather() -> None:
    """26 % in mild weather, no fill to blame: outside by far."""
    assert len(Tank(before=0.26, mix=0.26, outdoors=8.0).played()) == 1
