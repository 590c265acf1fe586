"""The export against two real servers, killed and started again in the middle."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import requests

from brineward.clock import MachineClock
from brineward.followers import cursor, held_back
from brineward.journal import Journal
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.service import exporting
from brineward.service.backlog import cursor_of
from brineward.service.exporting import Exporting
from export_kills import (
    SENSORS,
    T0,
    fill,
    held,
    kills,
    settings_for,
    wait_until_sent,
    wait_until_settled,
)
from export_servers import INFLUXD, VICTORIA, Influx1, Server, Victoria
from services import DEPOT


@pytest.fixture(params=["victoria-metrics", "influxd"])
def server(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Server]:
    """Each of the two, with nothing in it."""
    kind, there = (Victoria, VICTORIA) if request.param[0] == "v" else (Influx1, INFLUXD)
    if there is None:
        pytest.skip(f"needs Debian's {request.param}")
    made = kind(tmp_path / "server")
    made.start()
    yield made
    made.kill()


@pytest.fixture(autouse=True)
def _soon_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test does not wait for minutes."""
    monkeypatch.setattr(cursor, "FIRST_WAIT_SECONDS", 0.05)
    monkeypatch.setattr(cursor, "LONGEST_WAIT_SECONDS", 0.2)
    monkeypatch.setattr(cursor, "LONGEST_SLEEP_SECONDS", 0.05)
    monkeypatch.setattr(exporting, "ENTRIES", 400)


def test_all_of_the_journal_is_there_to_the_bit(server: Server, tmp_path: Path) -> None:
    """Readings of a journal, and those that come while it follows."""
    settings = settings_for(tmp_path, server)
    with Journal.open(settings.journal.path) as journal:
        fill(journal, 0, 1000)
        follower = Exporting(settings, MachineClock())
        follower.start()
        fill(journal, 1000, 500)
        wait_until_sent(settings)
        follower.stop()
        assert journal.asides.count(cursor_of("agency")) == 0
    held(server, 1500)


def test_sent_again_it_is_the_same(server: Server, tmp_path: Path) -> None:
    """The whole journal sent twice: nothing counts twice."""
    settings = settings_for(tmp_path, server)
    with Journal.open(settings.journal.path) as journal:
        fill(journal, 0, 700)
        for _ in range(2):
            with journal.handle.writing() as db:
                db.execute("DELETE FROM cursor")
            follower = Exporting(settings, MachineClock())
            follower.start()
            wait_until_sent(settings)
            follower.stop()
    held(server, 700)


def test_a_bad_point_is_set_aside_with_the_engines_own_words(tmp_path: Path) -> None:
    """A real 1.x engine refuses a field of another type: the rest is written, that one is kept."""
    if INFLUXD is None:
        pytest.skip("needs Debian's influxdb")
    server = Influx1(tmp_path / "server")
    server.start()
    try:
        settings = settings_for(tmp_path, server)
        # Somebody else's text has taken the field's type in the shard of that one week.
        line = f'reading,depot={DEPOT},sensor=main-level value="x" {T0 + 1}'
        answer = requests.post(f"{server.url}/write?db=brine&precision=ms", data=line, timeout=10)
        assert answer.status_code == 204
        with Journal.open(settings.journal.path) as journal:
            fill(journal, 0, 30)
            later = T0 + 30 * 86_400_000
            journal.commit([Step(Reading(DEPOT, SENSORS[0], later, 1.25, later), ())])
            follower = Exporting(settings, MachineClock())
            follower.start()
            wait_until_sent(settings)
            follower.stop()
            assert journal.asides.count(cursor_of("agency")) == 30
            (_, words), *_ = journal.asides.newest(cursor_of("agency"))
        assert "field type conflict" in words
        kept = server.query(f"SELECT value FROM reading WHERE time >= {later}ms")
        assert kept[0]["values"] == [[later, 1.25]]
    finally:
        server.kill()


def test_what_a_killed_server_had_only_in_memory_is_sent_again(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Answered, then killed with -9 before it was on the disk: the next write brings it back."""
    monkeypatch.setattr(held_back, "HELD_BACK_SECONDS", server.keeps_after_seconds)
    settings = settings_for(tmp_path, server)
    with Journal.open(settings.journal.path) as journal:
        fill(journal, 0, 300)
        follower = Exporting(settings, MachineClock())
        follower.start()
        wait_until_sent(settings)
        fill(journal, 300, 300)
        wait_until_sent(settings)
        server.kill()
        server.start()
        fill(journal, 600, 1)
        wait_until_settled(settings)
        follower.stop()
    held(server, 601)


def test_killed_at_random_moments_nothing_is_missing_or_twice(
    server: Server, tmp_path: Path
) -> None:
    """Server or follower is killed with -9 in the middle, while readings come in.

    `python tests/export_kills.py --long` makes 1,000 of them.
    """
    assert kills(server, tmp_path, 6) > 1000
