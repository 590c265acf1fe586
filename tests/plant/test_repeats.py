"""A stuck sensor: what is called stuck, what never is, and when it is believed again."""

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.plant.plan import Measure
from brineward.plant.repeats import FREED_AFTER, Repeats
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND
from depots import START


def restless(count: int, seed: int = 1, spread: float = 0.01) -> list[float]:
    """Readings that hardly ever repeat."""
    draw = random.Random(seed)
    return [round(1.5 + draw.gauss(0.0, spread), 4) for _ in range(count)]


class Listener:
    """Gives readings to a `Repeats`, one every so often, and keeps when it was called stuck."""

    def __init__(self, measures: Measure = Measure.LEVEL, every: int = 10 * SECOND) -> None:
        self.repeats = Repeats(measures)
        self.every = every
        self.now = START
        self.named: list[int] = []

    def hear(self, values: list[float]) -> "Listener":
        """Take readings."""
        for value in values:
            self.now += self.every
            if self.repeats.add(self.now, value) and self.repeats.stuck_at is not None:
                self.named.append(self.now)
        return self


def test_a_restless_sensor_that_repeats_itself_for_ten_minutes_is_stuck() -> None:
    """Named with its value and since when, at the first reading ten minutes into the repeat."""
    heard = Listener().hear(restless(400))
    stopped = heard.now + 10 * SECOND
    heard.hear([1.2345] * 60)
    assert heard.named == []
    heard.hear([1.2345] * 40)
    assert heard.named == [stopped + 10 * MINUTE]
    assert heard.repeats.stuck_at == 1.2345
    assert heard.repeats.stuck_since == stopped


def test_a_slow_sensor_needs_thirty_readings() -> None:
    """One reading a minute: half an hour."""
    heard = Listener(every=MINUTE).hear(restless(200))
    stopped = heard.now + MINUTE
    heard.hear([1.2345] * 60)
    # The repeat itself may not be longer than four times the longest known, plus one.
    assert heard.named == [stopped + 29 * MINUTE]


def test_four_times_the_longest_known_repeat_is_wanted() -> None:
    """A sensor that rested for forty readings is named after a hundred and sixty-one."""
    heard = Listener().hear(restless(300)).hear([1.5] * 40).hear(restless(500, seed=2))
    heard.hear([1.2345] * 160)
    assert heard.named == []
    heard.hear([1.2345])
    assert len(heard.named) == 1


def test_rest_at_nothing_does_not_teach_that_a_sensor_rests() -> None:
    """A hopper that was empty for a day: in salt again, its sensor is stuck after ten minutes."""
    heard = Listener(Measure.SALT_LEVEL, every=MINUTE).hear(restless(300)).hear([0.0] * 1440)
    heard.hear(restless(3000, seed=2))
    stopped = heard.now + MINUTE
    heard.hear([1.2345] * 60)
    assert heard.named == [stopped + 29 * MINUTE]


def test_what_was_called_stuck_at_nothing_teaches_of_nothing_only() -> None:
    """A current whose noise comes and goes about zero: called stuck there, later each time; but
    with a load's noise as soon as ever.
    """
    draw = random.Random(5)
    noise = [max(0.0, round(draw.gauss(0.03, 0.04), 2)) for _ in range(600)]
    heard = Listener(Measure.CURRENT).hear(noise).hear([0.0] * 3000).hear(noise)
    assert len(heard.named) == 1
    heard.hear([0.0] * 61).hear(noise)
    assert len(heard.named) == 1
    heard.hear(restless(600)).hear([1.2345] * 61)
    assert len(heard.named) == 2


@pytest.mark.parametrize(("days", "named"), [(6, 0), (9, 1)])
def test_the_longest_repeat_is_forgotten_after_a_week(days: int, named: int) -> None:
    """A rest of ninety readings holds for a week; then thirty are long again."""
    heard = Listener(every=MINUTE).hear(restless(60)).hear([1.5] * 90)
    heard.hear(restless(days * 24 * 60, seed=2)).hear([1.2345] * 30)
    assert len(heard.named) == named


@pytest.mark.parametrize("known", [98, 300])
def test_what_is_not_known_yet_is_not_called_stuck(known: int) -> None:
    """A hundred readings are wanted before a repeat tells anything."""
    heard = Listener().hear(restless(known)).hear([1.2345] * 90)
    assert bool(heard.named) == (known > 100)


def test_a_coarse_thermometer_that_rests_for_hours_is_never_called_stuck() -> None:
    """Tenths of a degree: it rests within a step, flickers between two, and rests again."""
    draw = random.Random(3)
    values, truth = [], 5.0
    for _ in range(6 * 24 * 360):
        truth += 0.1 / 360 * draw.choice((-1.0, 1.0, 1.0))
        values.append(round(truth + draw.gauss(0.0, 0.01), 1))
    assert Listener(Measure.TEMPERATURE).hear(values).named == []


def test_what_says_each_value_three_times_may_rest() -> None:
    """A third of its readings changed: it is not restless, however short its repeats were."""
    slow = [value for value in restless(200) for _ in range(3)]
    assert Listener().hear(slow).hear([1.2345] * 300).named == []


def test_it_is_believed_again_after_six_moves_running() -> None:
    """Not after one, nor where it sticks again in between."""
    heard = Listener().hear(restless(300)).hear([1.2345] * 90)
    heard.hear([1.4] * 20).hear(restless(FREED_AFTER - 2, seed=4)).hear([1.3] * 20)
    assert heard.repeats.stuck_at == 1.2345
    heard.hear(restless(FREED_AFTER - 1, seed=5))
    assert heard.repeats.stuck_at == 1.2345
    heard.hear(restless(1, seed=6))
    assert heard.repeats.stuck_at is None
    assert len(heard.named) == 1


def test_what_sticks_again_is_named_again_and_ever_later() -> None:
    """What was called stuck teaches only how long that took: 61 readings, then 245."""
    heard = Listener()
    waits = []
    for seed in range(2):
        heard.hear(restless(600, seed=seed))
        began = heard.now + heard.every
        heard.hear([1.2345] * 3000)
        waits.append((heard.named[-1] - began) // heard.every + 1)
    assert waits == [61, 245]


@pytest.mark.parametrize(
    "measures",
    [Measure.CONDUCTIVITY, Measure.FLOW, Measure.CURRENT, Measure.LEVEL, Measure.SALT_LEVEL],
)
def test_rest_at_nothing_is_no_fault_where_it_is_natural(measures: Measure) -> None:
    """A probe in the air, a meter with a low cut-off, a pump that is stopped, an empty hopper."""
    heard = Listener(measures).hear(restless(600)).hear([0.0] * 600)
    assert heard.named == []


def test_rest_at_nothing_is_odd_for_what_was_restless_about_it() -> None:
    """A current whose noise comes and goes about zero, and then stays there to the digit."""
    draw = random.Random(5)
    noise = [max(0.0, round(draw.gauss(0.03, 0.04), 2)) for _ in range(600)]
    assert len(Listener(Measure.CURRENT).hear(noise).hear([0.0] * 120).named) == 1


def test_a_temperature_may_stick_at_zero() -> None:
    """Nought is a number like any other there."""
    assert len(Listener(Measure.TEMPERATURE).hear(restless(300)).hear([0.0] * 90).named) == 1


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.floats(0.01, 1.0), min_size=2, max_size=8),
    st.integers(0, 2**32),
    st.sampled_from([SECOND, 10 * SECOND, MINUTE]),
)
def test_noise_of_any_kind_is_never_called_stuck(
    weights: list[float], seed: int, every: int
) -> None:
    """However few values it knows and however often it repeats them: it goes on moving."""
    draw = random.Random(seed)
    values = draw.choices([float(n) for n in range(len(weights))], weights, k=3000)
    assert Listener(every=every).hear(values).named == []


@settings(max_examples=50, deadline=None)
@given(st.data())
def test_repeats_go_on_from_what_was_written_down(data: st.DataObject) -> None:
    """Written down anywhere and read back, they say the same of what comes after."""
    values = []
    for seed in range(4):
        values += restless(data.draw(st.integers(0, 150)), seed=seed, spread=0.002)
        values += [data.draw(st.sampled_from([0.0, 1.5]))] * data.draw(st.integers(1, 90))
    gap = data.draw(st.sampled_from([10 * SECOND, HOUR, DAY]))
    cut = data.draw(st.integers(0, len(values) - 1))
    one, other = Repeats(Measure.FLOW), Repeats(Measure.FLOW)
    now = START
    for place, value in enumerate(values):
        now += gap if place % 100 == 0 else 10 * SECOND
        if place == cut:
            other.restore(json.loads(json.dumps(one.snapshot())))
        said = one.add(now, value)
        if place >= cut:
            assert other.add(now, value) == said
    assert one.snapshot() == other.snapshot()


def test_what_is_remembered_is_a_week_of_days() -> None:
    """Two months of readings, each day with another longest repeat: eight days are kept, no more,
    and counts stay small.
    """
    repeats = Repeats(Measure.TEMPERATURE)
    for place in range(60 * 24 * 6):
        repeats.add(START + place * 10 * MINUTE, float(place // (1 + place // 144 % 7)))
    _, _, _, _, _, changed, known, (_, _, days), *_ = repeats.snapshot()
    assert len(days) == 8
    assert 0 < changed <= known < 600
