"""A course for a picture: what its readings say, no spike lost, hours that were thinned as well."""

from dataclasses import replace
from pathlib import Path

import pytest

from brineward.journal import Journal
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND
from brineward.readings.outputs import Step
from brineward.readings.values import Quality, Reading
from brineward.records import Records
from journal.samples import T0, derived, plain, reading
from services import DEPOT


@pytest.mark.parametrize("thinned", [False, True])
def test_it_is_what_its_readings_say_and_keeps_a_spike(tmp_path: Path, thinned: bool) -> None:
    """Low, mean, high and count of each stretch, bad ones left out, before and after thinning."""
    start = T0 // DAY * DAY
    readings = [
        Reading(DEPOT, "level", start + k * 10 * SECOND, 1.0 + k * 1e-5, start + k * 10 * SECOND)
        for k in range(3000)
    ]
    readings[1234] = readings[1234]._replace(value=2.5)
    readings[50] = readings[50]._replace(value=99.0, quality=Quality.BAD, reason="x")
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit(plain(*readings), states={DEPOT: b"state"})
        if thinned:
            assert journal.thinning.thin(start + 4 * HOUR, 0.0).rows > 1000
        records = Records(journal.handle)
        span = (start, start + 9 * HOUR)
        course = records.course(DEPOT, "level", *span, width_seconds=7200.0, derived=False)
        long_ago = records.course(DEPOT, "level", 0, span[1], width_seconds=1.0, derived=False)
    found = [one.bucket for one in course]
    assert len(found) == 5
    for place, one in enumerate(found):
        at = start + place * 2 * HOUR
        values = [
            reading.value or 0.0
            for reading in readings
            if at <= reading.time < at + 2 * HOUR and reading.quality is not Quality.BAD
        ]
        assert (one.time, one.count) == (at, len(values))
        assert (one.low, one.high) == (min(values), max(values))
        assert one.mean == pytest.approx(sum(values) / len(values))
    assert max(one.high for one in found) == 2.5
    assert sum(one.count for one in found) == 2999
    assert sum(one.bucket.count for one in long_ago) == 2999


@pytest.mark.parametrize("thinned", [False, True])
def test_what_is_out_of_range_is_left_out_where_a_range_is_given(
    tmp_path: Path, thinned: bool
) -> None:
    """Of what is whole, the one reading; of what was thinned, the hour that it is in, since nobody
    can take it out of the sum."""
    start = T0 // DAY * DAY
    readings = [
        Reading(DEPOT, "level", start + k * MINUTE, 1.0, start + k * MINUTE) for k in range(180)
    ]
    readings[70] = readings[70]._replace(value=9999.0)
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit(plain(*readings), states={DEPOT: b"state"})
        if thinned:
            assert journal.thinning.thin(start + DAY, 0.0).rows == 180
        span = (DEPOT, "level", start, start + 3 * HOUR, 3600.0)
        found = Records(journal.handle).readings.buckets(*span, within=(0.0, 3.0))
        everything = Records(journal.handle).readings.buckets(*span)
    assert [one.count for one in found] == ([60, 60] if thinned else [60, 59, 60])
    assert {(one.low, one.mean, one.high) for one in found} == {(1.0, 1.0, 1.0)}
    assert (everything[1].count, everything[1].high) == (60, 9999.0)


def test_a_strength_has_the_widest_ends_of_its_interval(tmp_path: Path) -> None:
    """Of each stretch, and none where no interval was known."""
    at = T0 // DAY * DAY
    ends = [(0.22, 0.24), (0.21, 0.23), (0.225, 0.25)]
    steps = []
    for k, (low, high) in enumerate(ends):
        time = at + k * MINUTE
        strength = derived(0, 0.23, name="main-strength", low_95=low, high_95=high)
        strength = replace(strength, time=time)
        steps.append(Step(reading(0, 1.0)._replace(time=time, received=time), (strength,)))
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit(steps)
        [one] = Records(journal.handle).course(
            "tern-hollow", "main-strength", at, at + HOUR, width_seconds=3600.0, derived=True
        )
    assert one.band == (0.21, 0.25)
    assert one.bucket.count == 3
