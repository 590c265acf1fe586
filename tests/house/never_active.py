"""Runs tests with one condition of an alarm never active, as if its code were removed.

`python -m house.never_active tank-leak/tank_leak.TankLeak=tests/alarms/test_leaks.py ...` with the
tests on the path says of each as a line of JSON how many tests failed; it stops at the first.
"""

import contextlib
import io
import json
import sys
from collections.abc import Iterable
from typing import Any

import pytest

from brineward.alarms.condition import CLEAR, Verdict
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.readings.instants import Instant


class NeverActive:
    """A plugin of pytest: whatever this condition says, the book hears that it is clear."""

    def __init__(self, condition: str) -> None:
        self.condition = condition
        self.failed = 0

    @pytest.fixture(autouse=True)
    def _never_active(self, monkeypatch: pytest.MonkeyPatch) -> None:
        judge: Any = AlarmBook.judge
        silenced = self.condition

        def judged(
            book: AlarmBook, booked: BookedAlarm, now: Instant, verdict: Verdict | None = None
        ) -> list[Change]:
            of = type(booked.condition)
            named = f"{booked.configured.record.id}/{of.__module__.split('.')[-1]}.{of.__name__}"
            removed = named == silenced
            found: list[Change] = judge(book, booked, now, CLEAR if removed else verdict)
            return found

        monkeypatch.setattr(AlarmBook, "judge", judged)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Count what fails in its call, not in what it needs."""
        self.failed += report.failed and report.when == "call"


def failures(condition: str, tests: str) -> int:
    """How many of these tests fail without the condition; no more than one."""
    plugin = NeverActive(condition)
    words = ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", tests]
    with contextlib.redirect_stdout(io.StringIO()):
        pytest.main(words, plugins=[plugin])
    return plugin.failed


def main(pairs: Iterable[str]) -> None:
    """Say it of each pair of a condition and its tests."""
    for pair in pairs:
        condition, tests = pair.split("=", 1)
        print(json.dumps({condition: failures(condition, tests)}), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
