"""The contract with a server that answers before it keeps: what it loses, it gets again."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.followers import cursor, held_back
from brineward.journal import Journal
from brineward.service import exporting
from brineward.service.backlog import cursor_of
from brineward.service.exporting import Exporting
from brokers import until
from export_kills import fill, wait_until_sent
from export_servers import Told, told
from services import write_config


@pytest.fixture(params=[1, 2])
def api(request: pytest.FixtureRequest) -> int:
    """Both versions."""
    return int(request.param)


@pytest.fixture(autouse=True)
def _soon_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test does not wait for minutes."""
    monkeypatch.setattr(cursor, "FIRST_WAIT_SECONDS", 0.05)
    monkeypatch.setattr(cursor, "LONGEST_WAIT_SECONDS", 0.2)
    monkeypatch.setattr(cursor, "LONGEST_SLEEP_SECONDS", 0.05)


def settings_to(url: str, api: int, folder: Path) -> Settings:
    """A depot with one export."""
    config = write_config(folder, 1883)
    with config.open("a") as file:
        file.write(f'\n[export.agency]\nurl = "{url}"\napi = {api}\nbucket = "brine"\n')
    return load_settings(config)


def has_all(server: Told, count: int) -> bool:
    """Every reading, however often."""
    return len(set(server.written)) == count


@contextmanager
def all_sent(server: Told, url: str, api: int, folder: Path) -> Iterator[tuple[Journal, Exporting]]:
    """A journal of 300 readings, and a follower that goes on and has sent them all."""
    settings = settings_to(url, api, folder)
    follower = Exporting(settings, MachineClock())
    with Journal.open(settings.journal.path) as journal:
        fill(journal, 0, 300)
        follower.start()
        until(lambda: has_all(server, 300), 10.0, "all is sent")
        yield journal, follower


def test_a_restart_that_no_write_saw_costs_nothing(api: int, tmp_path: Path) -> None:
    """Killed and up again between two writes: only the connection is another one."""
    with told() as (server, url), all_sent(server, url, api, tmp_path) as (journal, follower):
        server.die()
        fill(journal, 300, 1)
        until(lambda: has_all(server, 301), 10.0, "all is sent again")
        follower.stop()


def test_a_restart_with_nothing_left_to_send_is_found(
    api: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last points before a silence are lost with the server: the follower looks after them."""
    monkeypatch.setattr(held_back, "HELD_BACK_SECONDS", 1.0)
    monkeypatch.setattr(exporting, "HELD_BACK_SECONDS", 0.2)
    with told() as (server, url), all_sent(server, url, api, tmp_path) as (journal, follower):
        server.die()
        until(lambda: has_all(server, 300), 10.0, "all is sent again")
        settled = cursor_of("agency")
        last = journal.ordering.last_seq()
        until(lambda: journal.cursors.at(settled) == last, 10.0, "the cursor is stored")
        asked = server.asked
        follower.stop()
        assert server.asked - asked <= 1


def test_a_service_that_is_restarted_begins_where_the_server_was_sure(
    api: int, tmp_path: Path
) -> None:
    """Both end within seconds: nothing of what was answered is taken for granted."""
    with told() as (server, url), all_sent(server, url, api, tmp_path) as (_, follower):
        follower.stop()
        server.die()
        again = Exporting(settings_to(url, api, tmp_path), MachineClock())
        again.start()
        until(lambda: has_all(server, 300), 10.0, "all is sent again")
        again.stop()


def test_a_server_that_ends_each_connection_in_silence_gets_everything(
    api: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Going back again and again must end: some repeats, then on."""
    monkeypatch.setattr(exporting, "ENTRIES", 50)
    with told() as (server, url):
        server.closes = "silently"
        settings = settings_to(url, api, tmp_path)
        follower = Exporting(settings, MachineClock())
        with Journal.open(settings.journal.path) as journal:
            fill(journal, 0, 300)
            follower.start()
            until(lambda: has_all(server, 300), 20.0, "all is sent")
            wait_until_sent(settings)
            follower.stop()
        assert len(server.written) < 2000
