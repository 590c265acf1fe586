"""Reports that are made by themselves: each once, missed ones later, and a failure costs itself."""

import logging
import os
from dataclasses import replace

import pytest

from brineward.clock import MachineClock
from brineward.config.settings import ReportSettings
from brineward.readings.instants import DAY, SECOND, instant_from_rfc3339
from brineward.reports.period import PeriodKind, period_of
from brineward.service.reporting import Reporting
from brokers import until
from reports.made import RECORDED, play, settings_with

NOON = instant_from_rfc3339("2026-01-22T18:00:00Z")


class SetClock(MachineClock):
    """A clock that shows what it is told to."""

    def __init__(self, now: int) -> None:
        super().__init__()
        self.shows = now

    def now(self) -> int:
        """What it was told."""
        return self.shows


@pytest.fixture
def settings(tmp_path):
    """A depot whose journal holds a night."""
    made = settings_with(tmp_path / "a.journal", tmp_path)
    play(made, RECORDED / "closed-valve.csv")
    return made


def reporting(settings, folder, clock, *periods: str) -> Reporting:
    """Makes these into that folder."""
    return Reporting(settings, ReportSettings(folder=folder, periods=periods), clock)


def test_each_report_is_made_once(settings, tmp_path):
    """The file that is there is not made again; the next night's is."""
    clock = SetClock(NOON)
    makes = reporting(settings, tmp_path / "out", clock, "night", "month")
    plan = settings.depots["tern-hollow"]
    names = [path.name for path in makes.make_due(plan)]
    assert names == ["tern-hollow-night-2026-01-21.html", "tern-hollow-month-2025-12-01.html"]
    assert makes.make_due(plan) == []
    clock.shows += DAY
    assert [one.name for one in makes.make_due(plan)] == ["tern-hollow-night-2026-01-22.html"]


def test_a_season_is_made_anew_each_week(settings, tmp_path):
    """It goes on, so what was written last week is no longer it."""
    clock = SetClock(NOON)
    makes = reporting(settings, tmp_path, clock, "season")
    plan = settings.depots["tern-hollow"]
    (path,) = makes.make_due(plan)
    for days, made in ((6, []), (8, [path])):
        written = (NOON - days * DAY) / SECOND
        os.utime(path, (written, written))
        assert makes.make_due(plan) == made


def test_a_folder_that_can_t_be_written_is_said_and_stops_nothing(settings, tmp_path, caplog):
    """One line in the log for each report; the look itself comes back."""
    (tmp_path / "out").write_text("no folder")
    makes = reporting(settings, tmp_path / "out", SetClock(NOON), "night", "week")
    with caplog.at_level(logging.ERROR):
        assert makes.make_due(settings.depots["tern-hollow"]) == []
    assert len([one for one in caplog.messages if "could not be made" in one]) == 2


def test_what_is_due_at_the_start_is_made_by_the_scheduler_itself(settings, tmp_path):
    """Nobody calls it: the scheduler's own thread writes the file."""
    clock = SetClock(NOON)
    makes = reporting(settings, tmp_path / "out", clock, "night")
    plan = settings.depots["tern-hollow"]
    path = makes.path_of(plan, period_of(PeriodKind.NIGHT, NOON, plan.zone))
    makes.start()
    try:
        until(path.exists, 30)
    finally:
        makes.stop()


def test_a_damaged_journal_is_no_traceback(settings, tmp_path, caplog):
    """A file that is no journal: said, and the service goes on."""
    (tmp_path / "b.journal").write_bytes(b"x" * 5000)
    broken = replace(settings, journal=replace(settings.journal, path=tmp_path / "b.journal"))
    makes = reporting(broken, tmp_path / "out", SetClock(NOON), "night")
    with caplog.at_level(logging.ERROR):
        assert makes.make_due(settings.depots["tern-hollow"]) == []
    assert "could not be made" in caplog.text
