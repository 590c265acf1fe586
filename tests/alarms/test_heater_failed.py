"""Heater failed, scripted: announced by its supply at once, by its contact or current later."""

from dataclasses import replace

import pytest

from brineward.alarms.registry import coverage
from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.outputs import AlarmState, Priority
from depots import plan, sensor
from engine.scripted import Script, World, text_of, with_sensors

ALARM = "heater-failed"
HOUR = 3600.0


def depot(*watched: Measure, outdoors: bool = True) -> DepotPlan:
    """A shelter with its thermometer, one outdoors, and what watches the heater."""
    sensors = dict(with_sensors("shelter").sensors)
    if outdoors:
        sensors["outdoors"] = sensor("outdoors", Measure.TEMPERATURE, "outdoors")
    for measure in watched:
        name = f"heater-{measure}"
        sensors[name] = sensor(name, measure, "heater")
    return plan(sensors=sensors)


class Shed:
    """A thermostat's swing from 9.5 to 10.5 degC; it has 73 minutes to 0 degC without heat."""

    def __init__(self, outdoors: float = -10.0) -> None:
        self.outdoors = outdoors
        self.works = self.heating = True

    def step(self, world: World) -> None:
        """A second passes."""
        if world.shelter <= 9.5 or world.shelter >= 10.5:
            self.heating = world.shelter <= 9.5
        heats = self.heating and self.works
        world.shelter += (self.outdoors + (40.0 if heats else 0.0) - world.shelter) / 6600.0
        world.says["heater-running"] = float(heats)
        world.says["heater-current"] = 50.0 if heats else 0.03


def watched(its: DepotPlan, *, outdoors: float = -10.0) -> tuple[Script, Shed]:
    """The shed with noise on its thermometer and its supply on."""
    shed = Shed(outdoors)
    world = World(shelter=10.0, noise={"shelter": 0.06})
    world.says |= {"outdoors": outdoors, "heater-power": 1.0}
    world.every_second.append(shed.step)
    return Script(its, world=world), shed


def trips(shed: Shed) -> object:
    """Its breaker trips: no supply, no heat."""

    def change(world: World) -> None:
        shed.works = False
        world.says["heater-power"] = 0.0

    return change


def test_a_tripped_supply_is_told_an_hour_before_freezing() -> None:
    """The shed has 73 minutes from the trip to 0 degC: the text comes a minute after it."""
    script, shed = watched(depot(Measure.POWER))
    script.at(4 * HOUR, trips(shed)).run(4 * HOUR)
    assert script.raised(ALARM) == []
    while script.world.shelter > 0.0:
        script.run(script.now + 30)
    (raised,) = script.raised(ALARM)
    assert 4 * HOUR + 60 <= raised <= 4 * HOUR + 75
    assert script.now - raised >= 3600
    text = text_of(script.texts("raised")[0])
    assert "shelter heater has no power" in text
    said, left = int(text.split("0 C in ")[1].split()[0]), (script.now - raised) / 60
    assert abs(said - left) < 8, "the minutes by its usual fall"


def test_one_cause_one_text() -> None:
    """The freezing that follows is held back; it is told by itself where the heater is well."""
    script, shed = watched(depot(Measure.POWER))
    script.at(4 * HOUR, trips(shed)).run(6 * HOUR)
    assert script.raised("shelter-freezing") == []
    assert script.state("shelter-freezing") is AlarmState.SUPPRESSED
    well, door = watched(depot(Measure.POWER))
    well.at(4 * HOUR, lambda _: setattr(door, "works", False)).run(6 * HOUR)
    assert len(well.raised("shelter-freezing")) == 1
    assert well.raised(ALARM) == []


def test_it_is_grave_where_the_freeze_is_near() -> None:
    """High with 73 minutes left; medium where the shed takes the night for it."""
    near, shed = watched(depot(Measure.POWER))
    near.at(4 * HOUR, trips(shed)).run(4 * HOUR + 600)
    far, mild = watched(depot(Measure.POWER), outdoors=-0.8)
    far.at(4 * HOUR, trips(mild)).run(4 * HOUR + 600)
    assert finding(near).priority is Priority.HIGH
    assert finding(far).priority is None


def finding(script: Script) -> object:
    """What was found of the heater last."""
    book = script.engine._depots["tern-hollow"]._book
    [booked] = [one for one in book.all if one.configured.record.id == ALARM]
    return booked.life.finding


@pytest.mark.parametrize(("outdoors", "raised"), [(5.0, 0), (0.5, 0), (-0.5, 1)])
def test_without_power_it_is_nobodys_matter_in_the_warm(outdoors: float, raised: int) -> None:
    """In summer its breaker may be off: only a freeze outdoors makes it one."""
    script, shed = watched(depot(Measure.POWER), outdoors=outdoors)
    script.at(1000, trips(shed)).run(4000)
    assert len(script.raised(ALARM)) == raised


def test_around_zero_outdoors_it_does_not_flap() -> None:
    """Raised at -0.5 degC it stays at 1.5, and clears above 2."""
    script, shed = watched(depot(Measure.POWER), outdoors=-0.5)
    script.at(1000, trips(shed)).at(3000, lambda w: w.says.update(outdoors=1.5)).run(6000)
    assert script.cleared(ALARM) == []
    script.at(6000, lambda w: w.says.update(outdoors=2.5)).run(9000)
    assert len(script.cleared(ALARM)) == 1


@pytest.mark.parametrize(("inside", "raised"), [(9.0, 0), (7.0, 1)])
def test_without_a_thermometer_outdoors_the_shelters_own_decides(
    inside: float, raised: int
) -> None:
    """Below 8 degC inside it is in the cold."""
    its = depot(Measure.POWER, outdoors=False)
    script = Script(its, world=World(shelter=inside, says={"heater-power": 0.0})).run(1000)
    assert len(script.raised(ALARM)) == raised


@pytest.mark.parametrize("measure", [Measure.RUNNING, Measure.CURRENT])
def test_a_heater_that_does_not_come_on_is_told_by_its_contact_or_current(
    measure: Measure,
) -> None:
    """Sooner than the fall by itself shows it: a few minutes under the usual low."""
    ahead = {}
    for its in (depot(measure), depot()):
        script, shed = watched(its)
        script.at(4 * HOUR, lambda _, s=shed: setattr(s, "works", False)).run(6 * HOUR)
        alarm = ALARM if its.sensors.keys() - {"shelter", "outdoors"} else "shelter-freezing"
        (ahead[alarm],) = script.raised(alarm)
    assert ahead[ALARM] <= ahead["shelter-freezing"] - 300


def test_a_healthy_heaters_rests_raise_nothing() -> None:
    """A day of swings, with a door open for ten minutes now and then."""
    script, shed = watched(depot(Measure.POWER, Measure.RUNNING, Measure.CURRENT))
    for opened in range(5):
        begins = (3 + 4 * opened) * HOUR
        script.at(begins, lambda _: setattr(shed, "outdoors", -60.0))
        script.at(begins + 600, lambda _: setattr(shed, "outdoors", -10.0))
    assert script.run(24 * HOUR).raised(ALARM) == []


def test_a_silent_supply_switch_raises_nothing() -> None:
    """Whether it has power nobody knows then, and its silence is announced."""
    script, shed = watched(depot(Measure.POWER))
    script.at(1000, lambda w: w.silent.add("heater-power"))
    script.at(1100, trips(shed)).run(3000)
    assert script.raised(ALARM) == []
    assert len(script.raised("sensor-silent")) == 1


def test_a_restart_in_the_cold_changes_nothing() -> None:
    """It is announced at the same second, from what was remembered."""
    script, shed = watched(depot(Measure.POWER))
    script.at(4 * HOUR, trips(shed)).at(4 * HOUR + 30, lambda _: script.restart())
    plain, other = watched(depot(Measure.POWER))
    plain.at(4 * HOUR, trips(other)).run(5 * HOUR)
    assert script.run(5 * HOUR).raised(ALARM) == plain.raised(ALARM) != []


@pytest.mark.parametrize("dumb", ["heater-power", "heater-running"])
def test_a_silent_sensor_of_the_heater_is_told_once(dumb: str) -> None:
    """By its own text, which names the heater as unwatched: no second text of the same cause."""
    watched_by = Measure.POWER if dumb == "heater-power" else Measure.RUNNING
    script, _ = watched(depot(watched_by))
    script.at(HOUR, lambda world: world.silent.add(dumb)).run(3 * HOUR)
    assert script.raised("dangers-unwatched") == []
    assert "Unwatched: failed heater" in text_of(script.texts("raised")[0])


def test_where_it_is_covered() -> None:
    """By what watches it; a depot without is blind to it, and is told what would help.

    A pump that is called heater is a pump.
    """
    (known,) = [one for one in coverage(depot(Measure.POWER)) if one.alarm == ALARM]
    assert (known.how, known.by) == ("covered", ("heater-power",))
    (blind,) = [one for one in coverage(depot()) if one.alarm == ALARM]
    assert blind.how == "blind"
    assert blind.would_help.startswith("a power switch or a current clamp on its supply")
    (unknown,) = [
        one for one in coverage(replace(depot(), has_shelter=False)) if one.alarm == ALARM
    ]
    assert unknown.would_help.startswith("the shelter in the config, and a power switch")
    its = depot(Measure.POWER)
    pump = replace(its.pumps["pump"], id="heater")
    named = replace(its, pumps={"heater": pump})
    assert [one for one in coverage(named) if one.alarm == ALARM] == []


def test_once_its_supply_is_no_longer_seen_it_hides_no_frozen_shelter() -> None:
    """The switch on the supply falls silent after a mild night's trip; then it turns cold."""
    script, shed = watched(depot(Measure.POWER), outdoors=-0.5)
    script.at(HOUR, trips(shed)).at(1.5 * HOUR, lambda w: w.silent.add("heater-power"))

    def cold(world: World) -> None:
        shed.outdoors = -12.0
        world.says["outdoors"] = -12.0

    script.at(3 * HOUR, cold).run(8 * HOUR)
    assert script.world.shelter < 0.0
    (frozen,) = script.raised("shelter-freezing")
    texts = [text_of(text) for text in script.texts("raised")]
    assert any("helter" in text and "freez" in text for text in texts), texts
    assert frozen > 3 * HOUR
