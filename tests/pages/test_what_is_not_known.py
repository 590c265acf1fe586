"""The first screen of a depot whose sensors are silent, or have not told all yet."""

from pathlib import Path

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.page.screen import Screen, screen
from brineward.readings.instants import MINUTE, SECOND
from brineward.readings.outputs import EpisodeChanged
from brineward.readings.values import Reading
from brineward.records import Records
from journal.samples import T0, episode, plain, reading

PLAIN = Path(__file__).parents[1] / "configs" / "good" / "plain.toml"
NOW = T0 + 60 * MINUTE


def shown(folder: Path, *heard: Reading, episodes: tuple[EpisodeChanged, ...] = ()) -> Screen:
    """The screen after these."""
    (plan,) = load_settings(PLAIN).depots.values()
    with Journal.open(folder / "one.journal") as journal:
        journal.signs_of_life.note(beat=NOW)
        steps = plain(*heard)
        if episodes:
            steps[-1] = steps[-1]._replace(outputs=episodes)
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
    assert "not known" in blind.doing[0]
    partly = shown(tmp_path, temperature)
    assert (partly.mood, partly.mood_word) == ("partly", "Partly")
    assert partly.sentence.startswith("Watched, but 2 of 3 sensors are silent.")
    assert "not known" in partly.doing[0]
    calm = shown(tmp_path, level, pump)
    assert (calm.mood, calm.unwatched) == ("calm", "")
    assert list(calm.doing) == ["Nothing runs and nothing fills."]


def test_while_a_load_settles_nothing_is_said_to_stand_still(tmp_path: Path) -> None:
    """The pump has stopped, but what flows in shows only when the level has come to rest."""
    going = episode(60 * MINUTE - 5 * SECOND, None, began=NOW - 20 * MINUTE, episode="load")
    settling = shown(tmp_path, *of_all(), episodes=(going,))
    assert list(settling.doing) == [
        "Nothing runs. After the load it is not known yet whether anything fills."
    ]
