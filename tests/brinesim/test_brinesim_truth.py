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
    assert span[0] == 24 * 3600.0


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
