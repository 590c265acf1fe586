"""Loads, fills, batches and the rest, against a tank whose flows are known exactly."""

import pytest

from brineward.physics.density import density
from brineward.plant.loads import AFTER, STOP_AND_GO
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import ModeSet
from brineward.readings.instants import SECOND
from brineward.readings.modes import Mode
from depots import DEPOT, START, plan
from plant.tank_world import AREA, FILL, PUMP, TankWorld, by_level_alone, metered, with_storage

REST = 1500
SETTLED = AFTER // SECOND + 60


def loaded(world: TankWorld, seconds: int = 480) -> TankWorld:
    """The pump runs for so long, and stands long enough for the load to be settled."""
    return world.play(seconds, pump=True).play(SETTLED, pump=False)


def test_a_load_from_a_standing_tank_is_as_large_as_it_was() -> None:
    """A load with nothing else going on: volume, both ends, strength and temperature."""
    world = loaded(TankWorld(plan()).play(REST))
    (load,) = world.known("load")
    assert load.source == "pump"
    assert load.amount_m3 == pytest.approx(world.loaded_m3, rel=0.01)
    assert world.seconds_of(load.began) == pytest.approx(REST, abs=1)
    assert load.ended is not None
    assert load.ended - load.began == pytest.approx(480 * SECOND, abs=SECOND)
    assert load.mass_fraction == pytest.approx(0.233, abs=0.001)
    assert load.low_95 is not None
    assert load.high_95 is not None
    assert load.low_95 < 0.233 < load.high_95
    assert load.temperature_c == pytest.approx(9.0)
    assert load.salt_kg == pytest.approx(world.loaded_m3 * 1177 * 0.233, rel=0.02)
    assert load.how == "by pump curve and level"


@pytest.mark.parametrize("seed", range(6))
def test_a_load_while_the_tank_refills_is_told_from_the_fill(seed: int) -> None:
    """The fill begins before the load and goes on after it: neither is mistaken for the other."""
    world = TankWorld(plan(), level_m=1.2, seed=seed).play(REST).play(600, fill=True)
    loaded(world).play(900).play(REST, fill=False)
    (load,), (fill,) = world.known("load"), world.known("fill")
    assert load.amount_m3 == pytest.approx(world.loaded_m3, abs=max(0.02 * world.loaded_m3, 0.02))
    assert fill.amount_m3 == pytest.approx(world.filled_m3, rel=0.03)
    assert fill.how == "by level and loads"


@pytest.mark.parametrize("late", [40, 150, 240])
def test_a_fill_that_a_load_lets_in_is_told_from_it(late: int) -> None:
    """The fill begins inside the load: the load is not taken for smaller than it was."""
    world = TankWorld(plan(), level_m=1.8).play(REST).play(late, pump=True)
    world.play(480 - late, fill=True).play(1500, pump=False).play(REST, fill=False)
    (load,), (fill,) = world.known("load"), world.known("fill")
    assert load.amount_m3 == pytest.approx(world.loaded_m3, rel=0.03)
    assert fill.amount_m3 == pytest.approx(world.filled_m3, rel=0.06)
    assert load.began <= fill.began <= load.began + 480 * SECOND


def test_three_loads_within_one_fill_are_three_loads_one_fill_and_one_batch() -> None:
    """Trucks one after another, four and a half minutes apart, while the tank refills."""
    world = TankWorld(plan(), level_m=2.0).play(REST).play(400, fill=True)
    for _ in range(3):
        world.play(400, pump=True).play(270, pump=False)
    world.play(900).play(REST, fill=False)
    loads = world.known("load")
    assert len(loads) == 3
    for load in loads:
        assert load.amount_m3 == pytest.approx(400 * PUMP, rel=0.02)
    assert len(world.known("fill")) == len(world.known("batch")) == 1
    assert world.known("fill")[0].amount_m3 == pytest.approx(world.filled_m3, rel=0.02)


def test_a_pump_that_is_stopped_and_goes_on_is_one_load() -> None:
    """A stop shorter than three minutes: one load, and the pause takes nothing."""
    world = TankWorld(plan()).play(REST).play(300, pump=True).play(100, pump=False)
    loaded(world, 200)
    (load,) = world.known("load")
    assert load.amount_m3 == pytest.approx(500 * PUMP, rel=0.01)
    assert load.ended is not None
    assert load.ended - load.began == pytest.approx(600 * SECOND, abs=SECOND)


def test_a_longer_stop_makes_two_loads() -> None:
    """The next truck needs longer than that to connect."""
    world = TankWorld(plan()).play(REST).play(300, pump=True)
    world.play(STOP_AND_GO // SECOND + 20, pump=False)
    loaded(world, 200)
    assert [round(load.amount_m3 or 0, 1) for load in world.known("load")] == [1.1, 0.7]


def test_a_pump_against_a_closed_valve_loads_nothing() -> None:
    """Nothing leaves the tank, so there is no load."""
    world = TankWorld(plan(), valve=False).play(REST)
    assert loaded(world).known("load") == []


def test_a_pump_that_starts_and_stops_before_any_level_is_known_is_judged_later() -> None:
    """The very first readings: on, off and on again within seconds, with one level between."""
    world = TankWorld(plan()).play(3).play(3, pump=True).play(8, pump=False)
    world.play(480, pump=True).play(SETTLED, pump=False)
    (load,) = world.known("load")
    assert load.amount_m3 == pytest.approx(world.loaded_m3, rel=0.05)


def test_a_valve_that_is_opened_late_begins_the_load() -> None:
    """The pump ran for a minute and a half before the valve was opened: that took nothing."""
    world = TankWorld(plan(), valve=False).play(REST).play(90, pump=True)
    world.play(300, valve=True).play(SETTLED, pump=False)
    (load,) = world.known("load")
    assert load.amount_m3 == pytest.approx(300 * PUMP, rel=0.01)
    assert world.seconds_of(load.began) == pytest.approx(REST + 90, abs=1)


def test_a_meter_and_the_level_tell_together() -> None:
    """With a meter the volume is within a percent, and says by what it is known."""
    world = TankWorld(metered(), level_m=1.5).play(REST).play(600, fill=True)
    (load,) = loaded(world).known("load")
    assert load.how == "by meter and level"
    assert load.amount_m3 == pytest.approx(world.loaded_m3, rel=0.01)
    assert load.amount_uncertainty_m3 is not None
    assert load.amount_uncertainty_m3 < 0.015 * world.loaded_m3


def test_what_is_lost_before_the_meter_is_not_loaded() -> None:
    """A line that leaks a fifth: what the truck got is the meter's."""
    (load,) = loaded(TankWorld(metered(), leaks_before_meter=0.2).play(REST)).known("load")
    assert load.how == "by meter"
    assert load.amount_m3 == pytest.approx(0.8 * 480 * PUMP, rel=0.02)


@pytest.mark.parametrize("sensor", ["silent", "stuck"])
def test_a_meter_alone_tells_where_the_level_does_not(sensor: str) -> None:
    """A level that is silent or stuck during the load: by meter, and no circulation."""
    world = TankWorld(metered(), level_fails=sensor).play(4 * 3600)
    (load,) = loaded(world).known("load")
    assert load.how == "by meter"
    assert load.amount_m3 == pytest.approx(480 * PUMP, rel=0.02)
    assert world.known("circulation") == []


def test_what_flows_back_into_its_tank_circulates() -> None:
    """The meter counts and the level stands: that is no load."""
    world = loaded(TankWorld(metered(), gives_back=True).play(REST))
    assert world.known("load") == []
    (one,) = world.known("circulation")
    assert one.amount_m3 == pytest.approx(480 * PUMP, rel=0.02)


def test_what_another_tank_takes_in_is_a_transfer() -> None:
    """Both levels move at once."""
    world = loaded(TankWorld(with_storage(), to_storage=True).play(REST))
    assert world.known("load") == []
    (one,) = world.known("transfer")
    assert one.amount_m3 == pytest.approx(480 * PUMP, rel=0.02)


def test_loads_are_found_by_the_level_alone() -> None:
    """Nothing tells of the pump: a fast fall is a load, also while the tank refills. Its start and
    stop are found from where the level bends."""
    world = TankWorld(by_level_alone(), level_m=2.0).play(REST)
    loaded(world)
    world.play(600, fill=True)
    loaded(world, 400).play(REST, fill=False)
    first, second = world.known("load")
    assert first.source == second.source == "main"
    assert first.how == second.how == "by level"
    assert first.amount_m3 == pytest.approx(480 * PUMP, rel=0.02)
    assert second.amount_m3 == pytest.approx(400 * PUMP, rel=0.02)
    assert world.seconds_of(first.began) == pytest.approx(REST, abs=60)
    for load, seconds in ((first, 480), (second, 400)):
        assert load.amount_uncertainty_m3 is not None
        assert load.amount_m3 is not None
        assert abs(load.amount_m3 - seconds * PUMP) < 2 * load.amount_uncertainty_m3
        assert load.ended is not None
    assert first.ended is not None
    assert world.seconds_of(first.ended) == pytest.approx(REST + 480, abs=8)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("depot", [plan(), by_level_alone()], ids=["switch", "level alone"])
def test_salt_tipped_in_while_it_is_loaded_takes_nothing_from_a_load(
    depot: DepotPlan, seed: int
) -> None:
    """Brine that salt drives over the weir, for a part of the load and on after it, is taken
    neither for a weaker pump nor for a shorter load; an earlier load has taught the flow."""
    world = loaded(TankWorld(depot, level_m=2.0, seed=seed).play(REST)).play(REST)
    taught = world.loaded_m3
    world.play(300, pump=True).play(500, tipped_in=4e-4).play(400, pump=False)
    world.play(REST, tipped_in=0.0)
    _, load = world.known("load")
    took = world.loaded_m3 - taught
    assert load.amount_m3 == pytest.approx(took, abs=0.02 * took)


def test_noise_and_waves_make_no_episodes() -> None:
    """A day in which nothing happens, with a level three times as noisy as its data sheet."""
    world = TankWorld(by_level_alone(), noise_m=0.006).play(86_400)
    assert {one.episode for one in world.episodes} <= {"idle"}


def test_a_level_that_falls_while_the_pump_stands_is_a_drain() -> None:
    """Half a litre a second through a drain for twenty minutes."""
    world = TankWorld(plan()).play(REST).play(1200, drains=5e-4).play(REST, drains=0.0)
    assert world.known("load") == []
    (drain,) = world.known("drain")
    assert drain.amount_m3 == pytest.approx(0.6, rel=0.05)


def test_what_is_pumped_out_of_a_depot_that_is_drained_is_no_load() -> None:
    """In the mode draining nobody loads."""
    world = TankWorld(plan()).play(REST)
    now = START + world.second * SECOND
    world.trackers.mode.set(ModeSet(depot=DEPOT, time=now, received=now, mode=Mode.DRAINING), now)
    loaded(world)
    assert world.known("load") == []
    assert world.known("drain")[0].amount_m3 == pytest.approx(480 * PUMP, rel=0.01)


def test_a_batch_has_the_salt_and_the_water_of_what_was_made() -> None:
    """By the mass before and after: a stronger mix into a weaker tank, and a load meanwhile."""
    world = TankWorld(plan(), level_m=1.0, strength=0.20, mix=0.25).play(REST)
    world.play(1500, fill=True)
    loaded(world, 300).play(600).play(4 * REST, fill=False)
    (batch,) = world.known("batch")
    # What was made is heavier than the tank's brine, and is counted as so much of that.
    assert batch.mass_fraction is not None
    made = world.filled_m3 * density(0.25, 9.0) / density(batch.mass_fraction, 9.0)
    assert batch.amount_m3 == pytest.approx(made, rel=0.01)
    assert batch.mass_fraction == pytest.approx(world.strength, abs=0.001)
    assert batch.salt_kg is not None
    assert batch.water_m3 is not None
    mass = world.filled_m3 * 1190
    assert batch.salt_kg == pytest.approx(0.25 * mass, rel=0.05)
    assert batch.water_m3 == pytest.approx(0.75 * mass / 1000, rel=0.05)


@pytest.mark.parametrize("reads", [0.96, 1.04])
def test_a_first_test_in_the_middle_of_a_batch_makes_no_salt_and_takes_none(reads: float) -> None:
    """A probe 4 % off shows another strength before the test than after it: the salt that was made
    lies between, and is never negative."""
    world = TankWorld(plan(), level_m=1.9, strength=0.21, mix=0.23, probe_reads=reads).play(REST)
    loaded(world, 300).play(300, fill=True)
    world.test()
    world.play(600).play(4 * REST, fill=False)
    (batch,) = world.known("batch")
    assert batch.salt_kg is not None
    assert batch.salt_kg == pytest.approx(0.23 * world.filled_m3 * 1173, rel=0.08)
    assert batch.mass_fraction == pytest.approx(world.strength, abs=0.003)


def test_brine_that_cools_is_not_lost() -> None:
    """Five kelvin cost a full tank 2 cm of level, and a batch nothing."""
    world = TankWorld(plan(), level_m=1.5, warmth=14.0).play(REST).play(600, fill=True)
    shrinks = 0.0004 * 5 * world.level_m
    world.level_m -= shrinks
    world.play(600, warmth=9.0).play(2 * REST, fill=False)
    (batch,) = world.known("batch")
    assert batch.amount_m3 == pytest.approx(1200 * FILL, abs=0.015)
    assert shrinks * AREA > 0.0135


def test_a_new_batch_is_blended_until_its_strength_is_steady() -> None:
    """It begins with the end of the fill; the batch then has the strength that it came to."""
    world = TankWorld(plan(), level_m=1.5, mix=0.25).play(REST).play(1200, fill=True)
    world.play(1500, fill=False)
    world.strength = 0.225
    world.play(3600)
    (blend,), (batch,) = world.known("blend"), world.known("batch")
    assert blend.began == batch.ended
    assert batch.mass_fraction == pytest.approx(0.225, abs=0.001)


def test_a_tank_that_nothing_moves_is_idle() -> None:
    """From its last movement to its next."""
    world = loaded(TankWorld(plan()).play(REST)).play(3 * 3600)
    loaded(world)
    (idle,) = world.known("idle")
    assert world.seconds_of(idle.began) == pytest.approx(REST + 480, abs=60)
    assert idle.ended is not None
    assert world.seconds_of(idle.ended) == pytest.approx(world.second - SETTLED - 480, abs=120)


def busy(restarts: float, depot: int) -> TankWorld:
    """Loads, stops, fills and drains in a row."""
    chosen = (plan, metered, by_level_alone)[depot]
    world = TankWorld(chosen(), level_m=1.9, restarts=restarts).play(REST)
    world.play(200, pump=True).play(60, pump=False).play(200, pump=True, fill=True)
    world.play(270, pump=False)
    loaded(world, 300).play(REST, fill=False)
    return world.play(600, drains=5e-4).play(4 * 3600, drains=0.0).play(600, fill=True)


@pytest.mark.parametrize("depot", range(3))
def test_restarts_at_any_moment_change_nothing(depot: int) -> None:
    """Written down and read back before every fiftieth reading: the same episodes, to the bit."""
    plain = busy(0.0, depot)
    restarted = busy(0.02, depot)
    assert len(plain.known("load")) == 2
    assert repr(restarted.episodes) == repr(plain.episodes)


def test_restarts_while_a_load_waits_to_be_settled_change_nothing() -> None:
    """Restarted every few seconds: what was seen of the fill inside the load is not forgotten."""

    def played(restarts: float) -> TankWorld:
        world = TankWorld(metered(), level_m=1.8, restarts=restarts).play(REST)
        world.play(120, pump=True).play(180, fill=True).play(700, pump=False)
        return world.play(700, fill=False)

    plain = played(0.0)
    assert len(plain.known("fill")) == 1
    assert repr(played(0.3).episodes) == repr(plain.episodes)
