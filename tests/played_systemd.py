"""The service manager, played: notices, watchdog and restarts as the unit in deploy/ has them.

After systemd.service(5) and sd_notify(3) of Debian 12: `Type=notify` counts the watchdog from
READY=1 on; a period without WATCHDOG=1 ends the service with SIGABRT; `Restart=always` starts it
again after `RestartSec`, also after a watchdog's end, and `StartLimitIntervalSec=0` for ever.
"""

import configparser
import os
import re
import signal
import socket
import threading
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from checkout import ROOT
from services import Running

UNIT = ROOT / "deploy" / "systemd" / "brineward.service"

_SPANS = {"": 1.0, "s": 1.0, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """What of a unit decides over ends and starts; seconds."""

    watchdog: float
    restart: str
    restart_after: float
    start_timeout: float
    start_limit: float
    """0: it is started as often as it takes."""


def unit_of(file: Path = UNIT) -> Unit:
    """The unit as it is deployed."""
    found = configparser.ConfigParser(strict=False, interpolation=None)
    found.read(file)
    service = found["Service"]
    return Unit(
        watchdog=_seconds(service["WatchdogSec"]),
        restart=service["Restart"],
        restart_after=_seconds(service["RestartSec"]),
        start_timeout=_seconds(service["TimeoutStartSec"]),
        start_limit=_seconds(found["Unit"]["StartLimitIntervalSec"]),
    )


def _seconds(span: str) -> float:
    found = re.fullmatch(r"(\d+)\s*(s|min|h|)", span)
    assert found, f"{span} is no span of time that is known here"
    return float(found[1]) * _SPANS[found[2]]


@dataclass
class Kept:
    """What the manager saw."""

    starts: int = 0
    ends: list[int] = field(default_factory=list)
    """Exit codes, as `subprocess` gives them: -9 for SIGKILL."""
    aborted: int = 0
    """How often the watchdog ended it."""
    beats: int = 0
    longest_between: float = 0.0
    """Seconds from one WATCHDOG=1 (or READY=1) to the next, while it ran."""
    peak_bytes: int = 0
    """The largest resident set of any run: VmHWM of proc(5)."""


class Managed(Running):
    """`brineward run` as systemd runs it. `start` is `systemctl start`, `stop` is its opposite.

    The unit's times may be replaced by shorter ones; its rules may not.
    """

    def __init__(
        self, config: Path, *, watchdog: float | None = None, restart_after: float | None = None
    ) -> None:
        super().__init__(config)
        unit = unit_of()
        assert (unit.restart, unit.start_limit) == ("always", 0.0), "another unit than is played"
        self.unit = replace(
            unit,
            watchdog=unit.watchdog if watchdog is None else watchdog,
            restart_after=unit.restart_after if restart_after is None else restart_after,
        )
        self.kept = Kept()
        self._wanted = threading.Event()
        self._thread: threading.Thread | None = None
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        # Short, since such an address has 108 bytes at most: an abstract one.
        address = f"\0brineward-test-{os.getpid()}-{id(self)}"
        self._socket.bind(address)
        self._socket.settimeout(0.05)
        self.environment = {
            "NOTIFY_SOCKET": "@" + address[1:],
            "WATCHDOG_USEC": str(round(self.unit.watchdog * 1e6)),
        }

    def start(self) -> None:
        """Start it, and start it again whenever it ends."""
        self._wanted.set()
        super().start()
        self.kept.starts += 1
        self._thread = threading.Thread(target=self._look_after, daemon=True)
        self._thread.start()

    def hit(self, how: signal.Signals) -> None:
        """A signal from elsewhere; the manager does what it does after it."""
        process = self.process
        if process is not None and process.poll() is None:
            process.send_signal(how)

    def stop(self, how: signal.Signals = signal.SIGTERM) -> int:
        """Stop it for good; its exit code."""
        self._wanted.clear()
        assert self._thread is not None
        self._thread.join()
        assert self.process is not None
        self._see_memory()
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
        return self._end(how, 60)

    def kill(self) -> None:
        """End it with -9, for good."""
        self.stop(signal.SIGKILL)

    def _look_after(self) -> None:
        began = last = time.monotonic()
        ready = False
        while self._wanted.is_set():
            said = self._said()
            now = time.monotonic()
            if said == b"READY=1":
                ready, last = True, now
            elif said == b"WATCHDOG=1" and ready:
                self.kept.beats += 1
                self.kept.longest_between = max(self.kept.longest_between, now - last)
                last = now
            self._see_memory()
            late = (
                now - last > self.unit.watchdog if ready else now - began > self.unit.start_timeout
            )
            if late:
                self.kept.aborted += 1
                assert self.process is not None
                self.process.send_signal(signal.SIGABRT)
                self.process.send_signal(signal.SIGCONT)  # one that was stopped must see it
                self.process.wait(90)
            if self._start_again():
                began, ready = time.monotonic(), False

    def _start_again(self) -> bool:
        """Where it has ended: note that, wait as the unit says, start it."""
        assert self.process is not None
        code = self.process.poll()
        if code is None:
            return False
        self.kept.ends.append(code)
        until = time.monotonic() + self.unit.restart_after
        while time.monotonic() < until and self._wanted.is_set():
            time.sleep(0.01)
        while self._said():
            pass  # what the run that is over had still said
        if self._wanted.is_set():
            Running.start(self)
            self.kept.starts += 1
        return True

    def _said(self) -> bytes:
        try:
            return self._socket.recv(200)
        except TimeoutError:
            return b""

    def _see_memory(self) -> None:
        assert self.process is not None
        try:
            status = Path(f"/proc/{self.process.pid}/status").read_text()
        except (FileNotFoundError, ProcessLookupError):
            return
        found = re.search(r"VmHWM:\s+(\d+) kB", status)
        if found:
            self.kept.peak_bytes = max(self.kept.peak_bytes, int(found[1]) * 1024)
