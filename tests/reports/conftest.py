"""One night with a weak batch, journalled once for all who report on it."""

from pathlib import Path

import pytest

from brineward.config.settings import Settings
from brineward.journal import Journal
from brineward.readings.instants import instant_from_rfc3339
from brineward.records import Records
from brineward.reports.contents import Report
from brineward.reports.gather import gather
from brineward.reports.period import PeriodKind, between
from reports.made import RECORDED, play, settings_with

FROM = instant_from_rfc3339("2026-01-22T00:00:00Z")
TO = instant_from_rfc3339("2026-01-22T10:00:00Z")


@pytest.fixture(scope="session")
def weak_night(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Settings whose journal holds the recorded night of a weak batch."""
    folder = tmp_path_factory.mktemp("weak-night")
    settings = settings_with(folder / "depot.journal", folder)
    play(settings, RECORDED / "weak-brine.csv")
    return settings


@pytest.fixture(scope="session")
def report(weak_night: Settings) -> Report:
    """That night's report."""
    plan = weak_night.depots["tern-hollow"]
    period = between(PeriodKind.NIGHT, FROM, TO, plan.zone)
    return gathered(weak_night, weak_night.journal.path, period)


def gathered(settings: Settings, path: Path, period) -> Report:
    """What the journal at this path says of a period."""
    plan = settings.depots["tern-hollow"]
    with Journal.open(path, read_only=True) as journal:
        return gather(plan, Records(journal.handle), period, TO)
