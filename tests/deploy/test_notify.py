"""What the service tells systemd: ready, alive, stopping (sd_notify(3), sd_watchdog_enabled(3))."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from brineward.link.embedded import free_port
from services import Running, brineward, write_config

WATCHDOG_SECONDS = 1.5


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """The service manager's end of NOTIFY_SOCKET, with a watchdog of a second and a half."""
    address = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as end:
        end.bind(os.fspath(address))
        end.settimeout(20)
        monkeypatch.setenv("NOTIFY_SOCKET", os.fspath(address))
        monkeypatch.setenv("WATCHDOG_USEC", str(round(WATCHDOG_SECONDS * 1e6)))
        yield end


def test_ready_then_alive_then_stopping(tmp_path: Path, manager: socket.socket) -> None:
    """READY=1, WATCHDOG=1 again and again well within the period, STOPPING=1 on SIGTERM.

    No broker answers here: a depot whose broker is down must not be restarted for it.
    """
    service = Running(write_config(tmp_path / "service", free_port()))
    service.start()
    try:
        assert manager.recv(100) == b"READY=1"
        manager.settimeout(WATCHDOG_SECONDS)  # systemd would end it after this
        assert [manager.recv(100) for _ in range(4)] == [b"WATCHDOG=1"] * 4
        manager.settimeout(20)
        assert service.stop() == 0
        rest = [manager.recv(100)]
        while rest[-1] != b"STOPPING=1":
            rest.append(manager.recv(100))
        assert set(rest[:-1]) <= {b"WATCHDOG=1"}
    finally:
        if service.process is not None:
            service.kill()


def test_a_service_that_cannot_start_never_says_that_it_is_ready(
    tmp_path: Path, manager: socket.socket
) -> None:
    """A journal that is none ends it with exit code 3, and systemd has heard nothing."""
    config = write_config(tmp_path / "service", free_port())
    (config.parent / "brineward.journal").write_text("this is no database\n" * 100)
    assert brineward("run", str(config)).returncode == 3
    manager.setblocking(False)
    with pytest.raises(BlockingIOError):
        manager.recv(100)
