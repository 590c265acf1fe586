"""Ends of the service: none, killed, hanging."""

import random
import signal
import time
from pathlib import Path

from faults.measuring.stand import WATCHDOG_SECONDS, Measured, stand


def nothing(folder: Path, times: int) -> Measured:
    """No fault: what the others are to be held against."""
    with stand(folder) as s:
        s.recover()
        time.sleep(times)
        return s.measured("none", "the watch, left alone", times, note=f"for {times} s")


def killed(folder: Path, times: int) -> Measured:
    """Killed with -9 at random moments; every fifth in its very start."""
    draw = random.Random(times)
    with stand(folder) as s:
        for number in range(times):
            s.service.hit(signal.SIGKILL)
            if number % 5 == 4 and number + 1 < times:
                time.sleep(draw.uniform(0.0, 1.0))
            else:
                s.recover()
                time.sleep(draw.uniform(0.0, 0.5))
        return s.measured(
            "service killed",
            "`kill -9` at random moments, every fifth during the start; started again at once",
            times,
        )


def hanging(folder: Path, times: int) -> Measured:
    """Stopped with SIGSTOP, as a hang looks from outside: the watchdog ends it."""
    with stand(folder) as s:
        for _ in range(times):
            s.service.hit(signal.SIGSTOP)
            s.recover()
            time.sleep(5.0)
        kept = s.service.kept
        return s.measured(
            "service hangs",
            f"`SIGSTOP`; a watchdog of {WATCHDOG_SECONDS:g} s ends it, and it is started again",
            times,
            note=f"ended by the watchdog {kept.aborted} times",
            longest_between=0.0,
        )
