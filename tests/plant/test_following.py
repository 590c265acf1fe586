"""A thermometer that isn't in the brine: conductivity does not follow it. And what is none."""

import json
import math
import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.plant.following import Following, followings_of
from brineward.plant.trackers import Trackers
from brineward.readings.instants import HOUR, MINUTE, SECOND
from depots import START, brine, plan

Course = Callable[[float], float]
STRENGTH = 0.233


def following() -> Following:
    """That of the small depot."""
    its = Trackers(plan())
    [found] = followings_of(its.plan, its.sensors, its.probes)
    return found


def hear(
    one: Following,
    hours: float,
    *,
    brine_c: Course,
    says_c: Course | None = None,
    shelter_c: Course | None = None,
    since: float = 0.0,
    noise_k: float = 0.03,
    noise: float = 0.0023,
    seed: int = 1,
) -> list[float]:
    """Readings each ten seconds; returns the seconds at which the finding changed."""
    draw = random.Random(seed)
    changed = []
    for place in range(round(hours * 360)):
        at = since + 10.0 * place
        read = brine(STRENGTH, brine_c(at)) * math.exp(draw.gauss(0.0, noise))
        said = (says_c or brine_c)(at) + draw.gauss(0.0, noise_k)
        inside = None if shelter_c is None else shelter_c(at) + draw.gauss(0.0, noise_k)
        if one.note(START + round(at * SECOND), read, said, inside):
            changed.append(at)
    return changed


def steady(celsius: float) -> Course:
    """The same for ever."""
    return lambda seconds: celsius


def thermostat(about: float, swing: float = 1.0, period: float = 4000.0) -> Course:
    """A shelter's air: up and down."""
    return lambda seconds: about + swing * math.sin(2 * math.pi * seconds / period)


def jumping(at: float, before: Course, after: Course, lag: float = 60.0) -> Course:
    """From one place to another at a time, as fast as the thermometer follows."""

    def course(seconds: float) -> float:
        if seconds < at:
            return before(seconds)
        share = math.exp(-(seconds - at) / lag)
        return share * before(at) + (1 - share) * after(seconds)

    return course


@pytest.mark.parametrize("to", [11.5, 5.0, -3.0, 30.0])
def test_a_thermometer_taken_out_of_the_brine_is_found_by_its_jump(to: float) -> None:
    """Within three minutes: before a strength that is wrong by that has lasted."""
    one = following()
    says = jumping(3600.0, steady(10.0), steady(to))
    changed = hear(one, 2.0, brine_c=steady(10.0), says_c=says)
    assert len(changed) == 1
    assert 3600.0 < changed[0] <= 3600.0 + 180.0
    assert one.not_following


def test_a_jump_back_ends_it_and_the_rest_of_the_way_back_is_no_jump() -> None:
    """Found, over when it is back, and nothing more in six hours after."""
    one = following()
    away = jumping(3600.0, steady(5.0), thermostat(11.0))
    says = jumping(4 * 3600.0, away, steady(5.0))
    changed = hear(one, 10.0, brine_c=steady(5.0), says_c=says)
    assert len(changed) == 2
    assert 4 * 3600.0 < changed[1] <= 4 * 3600.0 + 240.0
    assert not one.not_following


def test_in_calm_air_a_jump_is_remembered() -> None:
    """Air that stays for hours as the brine does is no proof that it is back."""
    one = following()
    says = jumping(3600.0, steady(5.0), steady(8.0))
    assert len(hear(one, 12.0, brine_c=steady(5.0), says_c=says)) == 1


def test_two_thermometers_that_change_places_are_both_found() -> None:
    """The brine's jumps to the air and the shelter's to the brine: the shelter is blind too."""
    one = following()
    air = thermostat(11.0, 0.3)
    says = jumping(3600.0, steady(5.0), air)
    inside = jumping(3600.0, air, steady(5.0), lag=120.0)
    changed = hear(one, 2.0, brine_c=steady(5.0), says_c=says, shelter_c=inside)
    assert len(changed) == 2
    assert one.exchanged
    assert changed[1] < 3600.0 + 25 * 60.0


def test_one_that_jumps_alone_leaves_the_shelter_believed() -> None:
    """Fallen out of its well and into the air: the shelter's own is still right."""
    one = following()
    says = jumping(3600.0, steady(5.0), thermostat(11.0, 0.3))
    hear(one, 3.0, brine_c=steady(5.0), says_c=says, shelter_c=thermostat(11.0, 0.3))
    assert one.not_following
    assert not one.exchanged


@pytest.mark.parametrize("period", [1500.0, 4000.0, 7200.0])
def test_one_that_was_never_in_the_brine_is_found_by_its_swing(period: float) -> None:
    """Wrongly placed from the start: within three hours of the tank standing."""
    one = following()
    changed = hear(one, 4.0, brine_c=steady(5.0), says_c=thermostat(9.0, 0.6, period))
    assert len(changed) == 1
    assert changed[0] <= 3 * 3600.0 + 300.0


def test_one_put_back_without_a_jump_seen_is_believed_after_calm_hours() -> None:
    """The tank moved meanwhile, or all was silent: calm for two hours is like brine."""
    one = following()
    hear(one, 4.0, brine_c=steady(5.0), says_c=thermostat(9.0, 0.6))
    assert one.not_following
    changed = hear(one, 6.0, brine_c=steady(5.0), since=5 * 3600.0)
    assert len(changed) == 1
    assert not one.not_following


@settings(max_examples=40, deadline=None)
@given(
    st.floats(-8.0, 25.0),
    st.floats(0.0, 6.0),
    st.floats(1200.0, 50_000.0),
    st.floats(0.01, 0.1),
    st.integers(0, 2**32),
)
def test_a_thermometer_in_the_brine_is_never_doubted(
    about: float, swing: float, period: float, noise_k: float, seed: int
) -> None:
    """Whatever the brine's temperature does: heated by the sun, fed with cold water, at rest."""
    its = thermostat(about, min(swing, abs(about + 12.0)), period)
    assert hear(following(), 5.0, brine_c=its, noise_k=noise_k, seed=seed) == []


@pytest.mark.parametrize("noise_k", [0.3, 1.0])
def test_a_noisy_thermometer_is_not_one_that_swings(noise_k: float) -> None:
    """Noise is not followed either, and says nothing."""
    for seed in range(5):
        assert hear(following(), 5.0, brine_c=steady(5.0), noise_k=noise_k, seed=seed) == []


def test_wild_readings_are_no_jump_and_no_swing() -> None:
    """One reading in ten anywhere in the range."""
    draw = random.Random(8)

    def says(seconds: float) -> float:
        return draw.uniform(-40.0, 60.0) if draw.random() < 0.1 else 5.0

    assert hear(following(), 30.0, brine_c=steady(5.0), says_c=says) == []


def test_a_change_while_the_tank_moved_is_no_jump() -> None:
    """A batch of other brine at another temperature came in: nothing is compared across that."""
    one = following()
    assert hear(one, 2.0, brine_c=steady(5.0)) == []
    warmer = hear(one, 2.0, brine_c=steady(7.0), since=2.2 * 3600.0)
    layered = hear(
        one,
        2.0,
        brine_c=steady(5.0),
        says_c=lambda seconds: 5.0 + math.exp(-(seconds - 4.5 * 3600.0) / 100.0),
        since=4.5 * 3600.0,
    )
    assert warmer == layered == []


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_it_goes_on_from_what_was_written_down(data: st.DataObject) -> None:
    """Written down anywhere and read back, it finds the same of what comes after."""
    draw = random.Random(data.draw(st.integers(0, 2**32)))
    one, other = following(), following()
    count = 1500
    cut = data.draw(st.integers(0, count - 1))
    jump, back = sorted(data.draw(st.integers(0, count)) for _ in range(2))
    now = START
    for place in range(count):
        now += HOUR if draw.random() < 0.001 else 10 * SECOND
        said = 9.0 + math.sin(now / MINUTE / 9) if jump < place < back else 5.0
        row = (now, brine(STRENGTH, 5.0), said + draw.gauss(0.0, 0.03), 9.0)
        if place == cut:
            other.restore(json.loads(json.dumps(one.snapshot())))
        found = one.note(*row)
        if place >= cut:
            assert other.note(*row) == found
    assert one.snapshot() == other.snapshot()
