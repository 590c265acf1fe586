"""A plugin of pytest: one alarm's condition is never active, as if its code were removed.

`NEVER_ACTIVE=closed-valve pytest -p house.never_active tests/engine/test_closed_valve.py`
"""

import os
from typing import Any

import pytest

from brineward.alarms.condition import CLEAR, Verdict
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.readings.instants import Instant


@pytest.fixture(autouse=True)
def _never_active(monkeypatch: pytest.MonkeyPatch) -> None:
    judge: Any = AlarmBook.judge

    def judged(
        book: AlarmBook, booked: BookedAlarm, now: Instant, verdict: Verdict | None = None
    ) -> list[Change]:
        removed = booked.configured.record.id == os.environ["NEVER_ACTIVE"]
        found: list[Change] = judge(book, booked, now, CLEAR if removed else verdict)
        return found

    monkeypatch.setattr(AlarmBook, "judge", judged)
