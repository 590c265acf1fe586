"""The first screen: what is not known there, and how old is what is."""

from pathlib import Path
from zoneinfo import ZoneInfo

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.page.screen import Screen, screen
from brineward.readings.instants import MINUTE, SECOND, local_from_instant
from brineward.readings.outputs import AlarmChanged, AlarmState, EpisodeChanged, Priority
from brineward.readings.values import Reading
from brineward.records import Records
from journal.samples import T0, alarm, episode, plain, reading

PLAIN = Path(__file__).parents[1] / "configs" / "good" / "plain.toml"
NOW = T0 + 60 * MINUTE


def shown(
    folder: Path, *heard: Reading, came: tuple[EpisodeChanged | AlarmChanged, ...] = ()
) -> Screen:
    """The screen after these, and what came of the last of them."""
    (plan,) = load_settings(PLAIN).depots.values()
    with Journal.open(folder / "one.journal") as journal:
        journal.signs_of_life.note(beat=NOW)
        steps = plain(*heard)
        steps[-1] = steps[-1]._replace(outputs=came)
        journal.commit(steps)
        return screen(plan, Records(journal.handle), NOW)


def of_all() -> list[Reading]:
    """A reading of each sensor, just now."""
    ago = 60 * MINUTE - 5 * SECOND
    return [
        reading(ago, 1.5),
        reading(ago, 8.0, sensor="main-temperature"),
        reading(ago, 0.0, sensor="pump-running"),
    ]


def test_all_silent_is_blind_and_some_is_no_alarm_that_was_taken(tmp_path: Path) -> None:
    """Nobody took anything, and nothing is claimed of a pump or a tank that is not heard."""
    level, temperature, pump = of_all()
    blind = shown(tmp_path, reading(0, 1.5))
    assert (blind.mood, blind.unwatched) == (
        "unwatched",
        "No readings come in: all 3 sensors are silent.",
    )
    assert "is not known" in blind.doing[0]
    partly = shown(tmp_path, temperature)
    assert (partly.mood, partly.mood_word) == ("partly", "Partly")
    assert partly.sentence.startswith("Watched, but 2 of 3 sensors are silent.")
    assert "is not known" in partly.doing[0]
    calm = shown(tmp_path, level, pump)
    assert (calm.mood, calm.unwatched) == ("calm", "")
    assert list(calm.doing) == ["Nothing runs and nothing fills."]


def test_while_a_load_settles_nothing_is_said_to_stand_still(tmp_path: Path) -> None:
    """The pump has stopped, but what flows in shows only when the level has come to rest."""
    going = episode(60 * MINUTE - 5 * SECOND, None, began=NOW - 20 * MINUTE, episode="load")
    settling = shown(tmp_path, *of_all(), came=(going,))
    assert list(settling.doing) == [
        "Nothing runs. After the load it is not known yet whether anything fills."
    ]


def test_a_level_that_is_old_says_how_old(tmp_path: Path) -> None:
    """And is not in the line at the top, which is about now."""
    screen_now = shown(tmp_path, reading(50 * MINUTE, 1.5), *of_all()[1:])
    (tank,) = screen_now.tanks
    assert (tank.old, tank.age) == (True, " (10 min old)")
    just_silent = shown(tmp_path, reading(58 * MINUTE + 10 * SECOND, 1.5)).tanks[0]
    assert (just_silent.old, just_silent.age) == (True, " (110 s old)")
    assert tank.volume
    assert tank.volume not in screen_now.sentence


def test_figures_of_an_alarm_that_nobody_was_texted_have_their_time(tmp_path: Path) -> None:
    """They are as its last change left them, half an hour before; what is new has no time."""
    told = {"sentence": "Hopper salt low, 1 ft 5 in.", "value": 0.43, "unit": "m"}
    old = alarm(30 * MINUTE, **told)
    new = alarm(59 * MINUTE + 30 * SECOND, number=13, source="hopper", **told)
    found = {one.number: one.what for one in shown(tmp_path, *of_all(), came=(old, new)).alarms}
    at = local_from_instant(old.time, ZoneInfo("America/Chicago"))
    assert found[12].startswith("Hopper salt low, 1 ft 5 in (at ")
    assert f"{at:%H:%M})" in found[12]
    assert found[13] == "Hopper salt low, 1 ft 5 in"


def test_what_holds_an_alarm_back_is_called_by_its_name(tmp_path: Path) -> None:
    """Not by what programs call it."""
    held = alarm(state=AlarmState.SUPPRESSED, alarm="salt-half", why="salt-low")
    (one,) = shown(tmp_path, *of_all(), came=(held,)).held
    assert one.details == ("Held back: same cause as salt low.",)


def test_what_nobody_has_comes_first(tmp_path: Path) -> None:
    """The most urgent of it at the top, where its button is in sight; what is taken comes last,
    however long it has been active."""
    taken = alarm(number=1, source="a", state=AlarmState.ACKNOWLEDGED)
    low = alarm(2, number=2, source="b", priority=Priority.LOW)
    high = alarm(3, number=3, source="c")
    over = alarm(4, number=4, source="d", state=AlarmState.RETURNED_UNACKNOWLEDGED)
    found = shown(tmp_path, *of_all(), came=(taken, low, high, over))
    assert [one.number for one in found.alarms] == [3, 2, 4, 1]
