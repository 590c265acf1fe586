"""Readings and derived values from their rows."""

from collections.abc import Sequence
from typing import Any, Final

from brineward.journal.names import Names
from brineward.journal.trouble import UnreadableRow
from brineward.readings.outputs import Derived
from brineward.readings.values import Reading

READING: Final = "series, time, value, mark, lag"
"""The columns that `reading_from_row` takes."""

DERIVED: Final = "series, time, value, uncertainty, calibrated, low_95, high_95"
"""The columns that `derived_from_row` takes."""


def reading_from_row(names: Names, row: Sequence[Any]) -> Reading:
    """The reading of a row. Raises: UnreadableRow."""
    series, time, value, mark, lag = row
    # SQLite's columns take any type: a flipped bit in a row's header makes another of one.
    if not (type(time) is int and type(lag) is int and (value is None or type(value) is float)):
        raise UnreadableRow(f"this is not a reading: {tuple(row)!r}")
    depot, sensor = names.series_name(series)
    return Reading(depot, sensor, time, value, time + lag, *names.mark(mark))


def derived_from_row(names: Names, row: Sequence[Any]) -> Derived:
    """The derived value of a row. Raises: UnreadableRow."""
    series, time, value, uncertainty, calibrated, low, high = row
    if type(time) is not int or type(value) is not float:
        raise UnreadableRow(f"this is no derived value: {tuple(row)!r}")
    depot, name = names.series_name(series)
    return Derived(
        time=time,
        depot=depot,
        name=name,
        value=value,
        standard_uncertainty=uncertainty,
        low_95=low,
        high_95=high,
        calibrated=bool(calibrated),
    )
