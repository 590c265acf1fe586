"""The first screen of a depot whose service gives no sign of life."""

from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.page.screen import screen
from brineward.readings.instants import MINUTE, SECOND, instant_from_rfc3339
from brineward.records import Records

PLAIN = Path(__file__).parents[1] / "configs" / "good" / "plain.toml"
NOW = instant_from_rfc3339("2026-01-15T02:00:00Z")


def test_a_stopped_service_is_gone_at_once(tmp_path: Path) -> None:
    """The page that another program serves says when it was stopped; just before, it watched, and
    says what it heard.
    """
    (plan,) = load_settings(PLAIN).depots.values()
    with Journal.open(tmp_path / "one.journal") as journal:
        journal.signs_of_life.note_stopped(NOW - SECOND)
        shown = screen(plan, Records(journal.handle), NOW)
        before = screen(plan, Records(journal.handle), NOW - 2 * SECOND)
    assert shown.mood == "unwatched"
    at = plan.units.clock_time(NOW - SECOND, NOW)
    assert shown.sentence == f"Nobody is watching: the service was stopped at {at}."
    assert before.sentence.startswith("No readings come in")


@pytest.mark.parametrize(
    ("beat", "mood", "said"),
    [
        (None, "unwatched", "the service was never started"),
        (NOW - 12 * MINUTE, "unwatched", "Nobody is watching: the service has been silent for 12"),
        (NOW + 12 * MINUTE, "unwatched", "Nobody is watching: the service has been silent since"),
        (NOW - 59 * SECOND, "unwatched", "No readings come in: all 3 sensors are silent."),
        (NOW + 2 * SECOND, "unwatched", "No readings come in: all 3 sensors are silent."),
    ],
)
def test_nobody_watches_and_the_page_says_so(
    tmp_path: Path, beat: int | None, mood: str, said: str
) -> None:
    """A sign of long ago is none, nor is one from before the clock was set back, as on a box whose
    clock stood still while it had no power."""
    (plan,) = load_settings(PLAIN).depots.values()
    with Journal.open(tmp_path / "one.journal") as journal:
        if beat is not None:
            journal.signs_of_life.note(beat=beat)
        shown = screen(plan, Records(journal.handle), NOW)
    assert (shown.mood, said in shown.sentence) == (mood, True)
