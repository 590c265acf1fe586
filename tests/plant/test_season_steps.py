"""The next step of opening and closing a season, from what the sensors show."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.config.load import load_settings
from brineward.plant.season_steps import Seen, next_step, steps
from brineward.readings.modes import Mode

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
PLAN = next(iter(load_settings(CONFIG).depots.values()))
CAN_REPLY = replace(PLAN, duty=replace(PLAN.duty, replies=True))
WET = {"main": 2.2, "hopper": 1.4, "containment": 0.10}
DRY = {"main": 0.03, "hopper": 0.03, "containment": 0.004}
STILL = {"pump": False}


def draining(levels: dict[str, float], **more: object) -> str:
    """The next step while it is being drained."""
    return next_step(CAN_REPLY, Mode.DRAINING, Seen(levels_m=levels, **({"running": STILL} | more)))


def test_the_containment_comes_before_the_tanks_in_it() -> None:
    """An empty tank floats: whatever the tanks show, a wet containment is the next step."""
    wet = (
        "Step 1 of 5: water off at its supply, then empty the containment before any tank "
        "(containment 4 in now)."
    )
    assert draining(WET) == wet
    assert draining(WET | {"main": 0.02, "hopper": 0.02}) == wet


def test_then_the_tanks_with_what_is_left_in_them() -> None:
    """Each that is not drained is named."""
    assert draining(WET | {"containment": 0.004}) == (
        "Step 2 of 5: water still off, drain the tanks from outside (hopper 4 ft 7 in, main tank "
        "7 ft 3 in now)."
    )
    one_left = draining(DRY | {"hopper": 0.5})
    assert "(hopper 1 ft 8 in now)" in one_left
    rises = draining(WET | {"containment": 0.004}, filling=frozenset({"main"}))
    assert rises.startswith("Step 2 of 5: main tank rises: water off, drain")


def test_then_the_pump_then_the_lines_then_it_is_laid_up() -> None:
    """A running pump is stopped at the panel; valves are left open; last the mode is set."""
    assert draining(DRY, running={"pump": True}).startswith("Step 3 of 5: pump off at the panel")
    shut, opened = {"hose-valve": False}, {"hose-valve": True}
    assert draining(DRY, open=shut) == "Step 4 of 5: drain the lines and leave their valves open."
    assert draining(DRY, open=opened) == "Step 5 of 5: all is drained, reply TH LAID UP."
    told = next_step(PLAN, Mode.DRAINING, Seen(levels_m=DRY, running=STILL, open=opened))
    assert told.endswith("set it to laid up.")


def test_what_no_sensor_shows_is_told_with_what_comes_after_it() -> None:
    """Nobody is held up by a step that can't be seen."""
    blind = draining({"main": 2.2, "hopper": 0.0})
    assert blind.startswith("Step 1 of 5: water off at its supply, then empty the containment")
    assert "Then: water still off, drain the tanks from outside (main tank" in blind
    lines = draining(DRY)
    assert lines.startswith("Step 4 of 5:")
    assert lines.endswith("Then: all is drained, reply TH LAID UP.")


def filling(levels: dict[str, float], **more: object) -> str:
    """The next step while it is filling up."""
    usual = {"open": {"hose-valve": False}, "salt_m": 1.2}
    return next_step(CAN_REPLY, Mode.FILLING_UP, Seen(levels_m=levels, **(usual | more)))


def test_a_season_is_opened_step_by_step() -> None:
    """Sensors, valves, salt, water to the mark, the test, in service."""
    named = filling(DRY, silent=("main-level", "hopper-level", "hose-flow"))
    assert (
        named == "Step 1 of 6: switch the sensors on (silent: main level, hopper level and 1 more)."
    )
    assert filling(DRY, open={"hose-valve": True}).startswith("Step 2 of 6: see that drains and")
    assert filling(DRY, salt_m=0.3) == "Step 3 of 6: fill the hopper with salt (1 ft now)."
    assert filling(DRY | {"main": 1.2}) == (
        "Step 4 of 6: water on, stay while the main tank fills to 7 ft 3 in (3 ft 11 in now)."
    )
    assert filling(WET).startswith("Step 5 of 6: let it stand 3 min, test by hydrometer")
    assert filling(WET, tested=True) == "Step 6 of 6: brine in its band: reply TH IN SERVICE."


@pytest.mark.parametrize(
    "mode", [Mode.IN_SERVICE, Mode.STORM_WATCH, Mode.STANDING_BY, Mode.LAID_UP]
)
def test_other_modes_have_no_steps(mode: Mode) -> None:
    """They are states, not work."""
    assert next_step(PLAN, mode, Seen()) == ""


@given(
    st.sampled_from([Mode.DRAINING, Mode.FILLING_UP]),
    st.dictionaries(st.sampled_from(sorted(WET)), st.floats(0, 2.4)),
    st.dictionaries(st.just("pump"), st.booleans()),
    st.dictionaries(st.just("hose-valve"), st.booleans()),
    st.booleans(),
)
def test_whatever_is_seen_there_is_a_next_step(
    mode: Mode,
    levels: dict[str, float],
    running: dict[str, bool],
    valves: dict[str, bool],
    tested: bool,
) -> None:
    """Exactly one, and never the tanks while the containment is seen to be wet."""
    seen = Seen(levels_m=levels, running=running, open=valves, tested=tested)
    told = next_step(PLAN, mode, seen)
    assert told.startswith("Step ")
    assert f" of {len(steps(PLAN, mode, seen))}: " in told
    if mode is Mode.DRAINING and levels.get("containment", 0.0) > 0.05:
        assert told.startswith("Step 1 of 5: ")
        assert "drain the tanks" not in told
