"""The truth of a run: when salt was wanted, however long the run."""

import numpy as np

from brinesim.equations import COLUMNS
from brinesim.salt_wanted import salt_wanted
from brinesim.scenario import load_scenario
from brinesim.truth import Truth


def test_when_salt_is_wanted() -> None:
    """Low; under half of its last filling; or, from Friday noon, gone by Monday 06:00 as used."""
    monday, friday = 1768780800000, 1769169600000  # 2026-01-19 and -23, 12:00 in UTC
    hours = [3600.0 * hour for hour in range(48)]
    assert salt_wanted(hours, [1.2] * 48, monday, 0.0) == []
    low = salt_wanted(hours, [0.6] * 10 + [0.45] * 38, monday, 0.0)
    assert low == [(36000.0, hours[-1])]
    halved = salt_wanted(hours, [0.6] * 5 + [1.3] * 5 + [0.6] * 38, monday, 0.0)
    assert halved == [(36000.0, hours[-1])]
    used = [1.0 - 0.01 * hour for hour in range(24)] + [0.76] * 24
    assert salt_wanted(hours, used, monday, 0.0) == []
    (span,) = salt_wanted(hours, used, friday - 86_400_000, 0.0)
    assert span[0] == 23 * 3600.0, "in summer time it is noon an hour earlier"


def test_a_weekend_is_judged_by_as_long_a_time_before_it() -> None:
    """0.3 m in one night of the last three lasts the next three days; 0.3 m in each doesn't."""
    start = 1768867200000  # 2026-01-20, a Tuesday, 00:00 in UTC
    hours = [3600.0 * hour for hour in range(96)]
    once = [0.9 - 0.03 * min(max(hour - 72, 0), 10) for hour in range(96)]
    assert salt_wanted(hours, once, start, 0.0) == []
    nightly = [1.5 - 0.03 * sum(one % 24 < 10 for one in range(hour)) for hour in range(96)]
    assert [span for span in salt_wanted(hours, nightly, start, 0.0) if span[0] < 84 * 3600] != []


def test_a_long_run_knows_of_salt_that_was_wanted_for_less_than_an_hour() -> None:
    """The state is kept every hour in it, the bed every five minutes."""
    truth = Truth(load_scenario("season"))
    columns = {name: np.zeros(721) for name in COLUMNS} | {"time": np.arange(0.0, 7201.0, 10.0)}
    low = (columns["time"] > 700) & (columns["time"] < 2000)
    truth.watch(columns | {"salt_level": np.where(low, 0.4, 1.2)})
    table = truth.as_table()
    assert table["series"]["seconds"] == [0.0, 3600.0, 7200.0]
    assert table["series"]["salt_level"] == [1.2, 1.2, 1.2]
    assert table["salt_wanted"] == [["2025-10-15T05:15:00Z", "2025-10-15T05:30:00Z"]]
