"""Brine near freezing, scripted: in the tank by its own freezing point, weak brine outdoors."""

from dataclasses import replace

import pytest

from brineward.alarms.registry import coverage
from brineward.plant.plan import DepotPlan, Measure, Strength
from brineward.readings.outputs import Priority
from depots import by_hand, plan, sensor
from engine.scripted import Script, World, text_of

ALARM = "brine-freezing"
HOUR = 3600.0


def depot(**changes: object) -> DepotPlan:
    """The small depot with a thermometer outdoors."""
    outdoors = sensor("outdoors", Measure.TEMPERATURE, "outdoors")
    return plan(sensors={**plan().sensors, "outdoors": outdoors}, **changes)


def watched(
    strength: float, liquid: float, outdoors: float, its: DepotPlan | None = None
) -> Script:
    """Two hours of a tank at rest, with brine and cold like this."""
    world = World(strength=strength, liquid=liquid, says={"outdoors": outdoors})
    return Script(its or depot(), world=world).run(2 * HOUR)


@pytest.mark.parametrize(
    ("strength", "liquid", "raised"),
    [
        # CRC Handbook: brine of 10 % freezes at -6.56 degC, of 15 % at -10.89, of 20 % at -16.46.
        (0.10, -5.0, 1),
        (0.15, -10.0, 1),
        (0.233, -12.0, 0),
        (0.233, 5.0, 0),
        (0.15, 0.0, 0),
    ],
)
def test_a_tank_near_its_own_freezing_point_is_raised(
    strength: float, liquid: float, raised: int
) -> None:
    """Weak brine in a tank that is nearly as cold; good brine in the same cold raises nothing."""
    script = watched(strength, liquid, liquid)
    assert len(script.raised(ALARM)) == raised
    if raised:
        [text] = [t for t in script.texts("raised", "yard") if "near freezing" in text_of(t)]
        assert f"{liquid:.1f} C, freezes at -" in text_of(text)
        assert f"Outdoors {liquid - 3:.1f} C tonight" in text_of(text)
        assert finding(script).priority is Priority.HIGH


def finding(script: Script) -> object:
    """What was found last."""
    book = script.engine._depots["tern-hollow"]._book
    [booked] = [one for one in book.all if one.configured.record.id == ALARM]
    return booked.life.finding


def test_weak_brine_in_the_outdoor_line_is_raised_while_the_tank_is_warm() -> None:
    """15 % freezes at -10.9 degC: the line at -15 does, the tank in its shelter at 5 does not."""
    script = watched(0.15, 5.0, -15.0)
    assert len(script.raised(ALARM)) == 1
    assert finding(script).priority is None
    [text] = [t for t in script.texts("raised", "yard") if "freezing outdoors" in text_of(t)]
    assert "-15.0 C now, -18.0 C tonight, freezes at" in text_of(text)
    assert "Run no pump. Empty hose and line. Test brine." in text_of(text)


@pytest.mark.parametrize("outdoors", [-9.0, -30.0])
def test_brine_in_its_band_raises_nothing_outdoors(outdoors: float) -> None:
    """It is as good as brine can be: at -30 degC nothing that anybody adds helps."""
    assert watched(0.233, 5.0, outdoors).raised(ALARM) == []


def test_weak_brine_in_mild_cold_raises_nothing() -> None:
    """15 % at -3 degC is liquid with a wide margin, whatever its interval."""
    assert watched(0.15, 5.0, -3.0).raised(ALARM) == []


def test_it_clears_when_it_warms() -> None:
    """At -15 degC it is raised, at +1 it clears after its delay."""
    script = watched(0.15, 5.0, -15.0)
    script.at(script.now + 1, lambda w: w.says.update(outdoors=1.0)).run(script.now + HOUR)
    assert len(script.cleared(ALARM)) == 1


@pytest.mark.parametrize("silent", ["cond", "temp"])
def test_without_probe_or_thermometer_nothing_is_said(silent: str) -> None:
    """What can't be known is not raised."""
    world = World(strength=0.15, liquid=5.0, says={"outdoors": 2.0})
    script = Script(depot(), world=world).at(100, lambda w: w.silent.add(silent))
    script.at(600, lambda w: w.says.update(outdoors=-25.0)).run(2 * HOUR)
    assert script.raised(ALARM) == []


def test_a_band_that_is_meant_to_be_weak_is_respected() -> None:
    """A depot that makes 15 % by choice is not told of it outdoors."""
    its = depot(strength=Strength(low=0.13, target=0.15, high=0.18))
    assert watched(0.15, 5.0, -15.0, its).raised(ALARM) == []


def test_without_a_thermometer_outdoors_no_night_is_foretold() -> None:
    """Only where the tank freezes is known then."""
    script = Script(plan(), world=World(strength=0.15, liquid=-10.0)).run(2 * HOUR)
    [text] = [t for t in script.texts("raised", "yard") if "near freezing" in text_of(t)]
    assert "tonight" not in text_of(text)
    assert "Salt in hopper only" in text_of(text)


@pytest.mark.parametrize(("outdoors", "says"), [(-9.0, True), (-2.0, False)])
def test_weak_brine_says_by_day_that_it_may_freeze_tonight(outdoors: float, says: bool) -> None:
    """15 % freezes at -10.9 degC. At -9 it is no alarm of freezing yet, but the night may be 3 K
    colder: hose and line are to be emptied while somebody can. In mild cold that is not said."""
    script = with_test(outdoors)
    assert script.raised(ALARM) == []
    [text] = [t for t in script.texts("raised", "yard") if "brine weak" in text_of(t)]
    assert (f"{outdoors - 3:.1f} C tonight" in text_of(text)) is says
    assert ("Drain hose, outdoor line." in text_of(text)) is says
    assert ("limit 22.0" in text_of(text)) is not says


def with_test(outdoors: float) -> Script:
    """Brine of 15 % at rest in a tank whose probe was tested by hand."""
    world = World(strength=0.15, liquid=5.0, says={"outdoors": outdoors})
    script = Script(depot(), world=world)
    script.at(150, lambda _: script.step(by_hand(script.time, 0.15)))
    return script.run(2 * HOUR)


def test_where_it_is_covered() -> None:
    """By probe, thermometer and outdoors; without outdoors the line and hose are left out."""
    (whole,) = [one for one in coverage(depot()) if one.alarm == ALARM]
    assert (whole.how, whole.by) == ("covered", ("cond", "temp", "outdoors"))
    (half,) = [one for one in coverage(plan()) if one.alarm == ALARM]
    assert (half.how, half.would_help) == ("indirect", "a temperature outdoors")
    bare = replace(plan(), sensors={})
    (blind,) = [one for one in coverage(bare) if one.alarm == ALARM]
    assert blind.how == "blind"
