"""What every fault is measured on: a broker, a gateway for texts, a depot, and the service.

The service runs under a played systemd (`played_systemd.py`). A depot of seven sensors publishes
five times a second; again and again its pump runs against a closed valve, and the time from that
to the text at the gateway is taken.
"""

import contextlib
import statistics
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from brineward.journal import DiskTrouble, JournalUnusable
from brokers import Mosquitto
from gateways import Gateway
from played_systemd import Managed
from services import DEPOT, Depot, now_ms, write_config

WATCHDOG_SECONDS = 6.0
"""In place of the unit's minute: a run that keeps this never misses that."""

EVERY_SECONDS = 0.2
"""How often each of the seven sensors publishes."""

LONGEST_SECONDS = 60.0
"""A pump against a closed valve that is not told within this is counted as not told."""

_CLOSED, _CLEARED = "runs against closed hose valve", "ran against closed hose valve"


@dataclass(kw_only=True)
class Measured:
    """What came of one fault."""

    name: str
    how: str
    times: int
    sent: int = 0
    lost: int = 0
    doubled: int = 0
    texts: int = 0
    texts_lost: int = 0
    texts_doubled: int = 0
    recovered: list[float] = field(default_factory=list)
    """Seconds from the fault to a committed reading that was measured after it."""
    told: list[float] = field(default_factory=list)
    """Seconds from the pump's start against the closed valve to the text, during the fault."""
    untold: int = 0
    peak_bytes: int = 0
    aborted: int = 0
    longest_between: float = 0.0
    note: str = ""


def asked_of(gateways: list[Gateway]) -> list[dict[str, str]]:
    """What came whole; a request that a kill cut off in the middle is none."""
    whole = []
    for gateway in gateways:
        for one in gateway.asked:
            with contextlib.suppress(ValueError):
                whole.append(one.json())
    return whole


class Danger:
    """Again and again the pump runs against a closed valve, until that is told or time is up."""

    def __init__(self, source: Depot, gateways: list[Gateway], rest: float) -> None:
        self._source = source
        self._gateways = gateways
        self._rest = rest
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._go, daemon=True)
        self.told: list[float] = []
        self.untold = 0
        self._cleared: set[str] = set()

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End after the one under way."""
        self._stopping.set()
        self._thread.join()

    def once(self, longest: float = LONGEST_SECONDS) -> float | None:
        """One time: how long until it was told; None where it was not."""
        before = self._seen()
        began = time.monotonic()
        self._source.values |= {"pump-running": 1, "hose-valve-open": 0}
        took = None
        while time.monotonic() < began + longest:
            if self._seen() - before:
                took = time.monotonic() - began
                break
            time.sleep(0.01)
        self._source.values |= {"pump-running": 0, "hose-valve-open": 1}
        self._wait_until_cleared()
        if took is None:
            self.untold += 1
        else:
            self.told.append(took)
        return took

    def _wait_until_cleared(self) -> None:
        """Only after that it can be reported again. Not for ever: that text may be what is lost."""
        end = time.monotonic() + 30.0
        while time.monotonic() < end and not self._seen(_CLEARED) - self._cleared:
            time.sleep(0.02)
        self._cleared = self._seen(_CLEARED)

    def _seen(self, words: str = _CLOSED) -> set[str]:
        return {one["reference"] for one in asked_of(self._gateways) if words in one["text"]}

    def _go(self) -> None:
        while not self._stopping.is_set():
            self.once()
            time.sleep(self._rest)


class Stand:
    """All of it, started; see `stand`."""

    def __init__(
        self,
        folder: Path,
        *,
        broker: dict[str, str] | None = None,
        program: list[str] | None = None,
        environment: dict[str, str] | None = None,
        second_gateway: bool = False,
        rest: float = 3.0,
        where: Path | None = None,
        **config: Any,
    ) -> None:
        self.broker = Mosquitto(folder / "broker", {"autosave_interval": "10", **(broker or {})})
        self.broker.start()
        self.gateway = Gateway().__enter__()
        self.second = Gateway().__enter__() if second_gateway else None
        self.config = write_config(
            where or folder / "service",
            self.broker.port,
            gateway=self.gateway.url,
            second_gateway=self.second.url if self.second else "",
            **{"next_after": "1 h", **config},
        )
        self.service = Managed(self.config, watchdog=WATCHDOG_SECONDS, restart_after=0.0)
        if program:
            self.service.program = program
        self.service.environment |= environment or {}
        self.source = Depot(self.broker.port)
        self.every = EVERY_SECONDS
        self.publishing = threading.Event()
        self._over = threading.Event()
        self._publisher = threading.Thread(target=self._publish, daemon=True)
        gateways = [self.gateway, *([self.second] if self.second else [])]
        self.danger = Danger(self.source, gateways, rest)
        self.recovered: list[float] = []

    def start(self) -> None:
        """Connected, and readings come."""
        self.service.start_and_wait()
        self.publishing.set()
        self._publisher.start()
        self.see_reading(now_ms())

    def _publish(self) -> None:
        while not self._over.is_set():
            if self.publishing.wait(0.1):
                self.source.round()
                time.sleep(self.every)

    def see_reading(self, after: int, longest: float = 300.0) -> float:
        """Wait until a reading measured after this is committed; how many seconds that took."""
        began = time.monotonic()
        while time.monotonic() < began + longest:
            if self._newest() > after:
                return time.monotonic() - began
            time.sleep(0.02)
        raise AssertionError(f"no reading for {longest} s: {self.service.log[-3000:]}")

    def recover(self) -> float:
        """The fault has just been: wait until the watch has what came after it."""
        took = self.see_reading(now_ms())
        self.recovered.append(took)
        return took

    def _newest(self) -> int:
        try:
            latest = self.service.ask(lambda r: r.readings.latest(DEPOT))
        except (DiskTrouble, JournalUnusable):
            return 0  # it has just been taken away, or is being saved
        return latest["main-level"].time if "main-level" in latest else 0

    def settle(self, longest: float = 300.0) -> None:
        """All that was sent is there, and all texts have left, as far as they ever will."""
        self.publishing.clear()
        time.sleep(2 * self.every)
        self.source.confirmed(longest)
        last = next(at for sensor, at, _ in reversed(self.source.sent) if sensor == "main-level")
        self.see_reading(last - 1, longest)
        end = time.monotonic() + longest
        while time.monotonic() < end and self.service.ask(lambda r: r.texts.newest(state="open")):
            time.sleep(0.1)

    def measured(self, name: str, how: str, times: int, **more: Any) -> Measured:
        """Settle, and count."""
        self.danger.stop()
        self.settle()
        kept = Counter((sensor, at) for sensor, at, _ in self.service.readings())
        sent = {(sensor, at) for sensor, at, _ in self.source.sent}
        gateways = [self.gateway, *([self.second] if self.second else [])]
        asked = Counter(_without_mark(one["reference"]) for one in asked_of(gateways))
        due = {
            _without_mark(text.key)
            for text in self.service.ask(lambda r: r.texts.newest(limit=1_000_000))
        }
        return Measured(
            **{
                "name": name,
                "how": how,
                "times": times,
                "sent": len(sent),
                "lost": len(sent - set(kept)),
                "doubled": sum(count - 1 for key, count in kept.items() if key in sent),
                "texts": len(due),
                "texts_lost": len(due - set(asked)),
                "texts_doubled": sum(count - 1 for count in asked.values()),
                "recovered": self.recovered,
                "told": self.danger.told,
                "untold": self.danger.untold,
                "peak_bytes": self.service.kept.peak_bytes,
                "aborted": self.service.kept.aborted,
                "longest_between": self.service.kept.longest_between,
                **more,
            }
        )

    def close(self) -> None:
        """Everything ends."""
        self._over.set()
        if self.service.process is not None:
            self.service.kill()
        self.source.close()
        for gateway in (self.gateway, self.second):
            if gateway is not None:
                gateway.__exit__()
        self.broker.kill()


@contextmanager
def stand(folder: Path, **options: Any) -> Iterator[Stand]:
    """A stand that is started, with the dangers going on; `options` are those of `Stand`."""
    dangers = options.pop("dangers", True)
    made = Stand(folder, **options)
    try:
        made.start()
        if dangers:
            made.danger.start()
        yield made
    finally:
        made.close()


def _without_mark(key: str) -> str:
    """A saved journal has a new mark, and its texts are the same."""
    return key.split("-", 1)[1]


def in_words(seconds: list[float]) -> str:
    """Median and longest."""
    if not seconds:
        return "-"
    return f"{statistics.median(seconds):.1f} / {max(seconds):.1f}"


Fault = Callable[[Path, int], Measured]
