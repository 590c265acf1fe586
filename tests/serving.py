"""The service in a thread of the test, with a clock that the test may set while it runs."""

import gc
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.journal import JournalUnusable
from brineward.service.service import House, serve
from brokers import until
from services import Running


class SetClock(MachineClock):
    """The machine's clock, which a test may set while the service runs; `ahead` in ms."""

    ahead = 0

    def now(self) -> int:
        """What it shows."""
        return super().now() + self.ahead


class Serving(Running):
    """The same service in a thread of the test, with a clock that the test may set."""

    def __init__(self, config: Path) -> None:
        super().__init__(config)
        self.clock = SetClock()
        self._stop = threading.Event()
        self._ended: list[BaseException | None] = []
        self._thread = threading.Thread(target=self._serve, name="service", daemon=True)

    def start(self) -> None:
        """Start it; returns at once."""
        self._thread.start()

    def wait_for(self, condition: Callable[[], Any], what: str, seconds: float = 30.0) -> Any:
        """Wait for something while it runs; fails where it ended by itself."""

        def met() -> Any:
            assert not self._ended, self._ended
            return condition()

        return until(met, seconds, what)

    def stop(self) -> int:
        """Stop it as SIGTERM would; 0, or it raises what ended the service."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(20)
        gc.unfreeze()
        ended = self._ended[-1] if self._ended else None
        if ended is not None:
            raise ended
        return 0

    def _serve(self) -> None:
        ended: BaseException | None = None
        try:
            serve(load_settings(self.config), self._stop, House(clock=self.clock))
        except (JournalUnusable, AssertionError, RuntimeError, ValueError, TypeError) as error:
            ended = error
        self._ended.append(ended)


@contextmanager
def serving(config: Path) -> Iterator[Serving]:
    """A service in this process, started and connected; ended with the test."""
    service = Serving(config)
    thresholds = gc.get_threshold()
    service.start_and_wait()
    try:
        yield service
    finally:
        service.stop()
        gc.set_threshold(*thresholds)
