"""What became of one hydrometer test of a probe."""

from collections.abc import Sequence
from operator import itemgetter
from typing import NamedTuple

from brineward.physics.conductivity import slope_in_mass_fraction
from brineward.readings.instants import Instant

WEAKEST_TESTED = 0.01
"""Mass fraction: a test of weaker brine, or of water, says nothing about a probe of brine, since
its own error is a large share of it (common practice, no source). It is refused at entry, but a
journal may hold one that an older version took."""


class RecordedTest(NamedTuple):
    """What became of one test."""

    at: Instant
    mass_fraction: float
    standard_uncertainty: float
    by: str
    finding: str
    """One of `judgement.Finding`, or `unpaired` where the probe read nothing then."""
    conductivity_s_per_m: float | None
    """What the probe read then, and its thermometer."""
    temperature_c: float | None
    log_factor: float | None
    """ln of true over read conductivity, as this test shows it alone."""
    parted: float | None
    """How far that lies from what the earlier tests predicted."""
    oddness: float = 0.0
    """The same in standard deviations."""
    slip: str = ""
    """The likely slip, if the test was not confirmed: it is given little weight."""

    @property
    def salt_parted(self) -> float | None:
        """What `parted` is in salt, a mass fraction, to the first order: what people compare."""
        if self.parted is None or self.temperature_c is None:
            return None
        return self.parted / slope_in_mass_fraction(self.mass_fraction, self.temperature_c)


def with_record(records: Sequence[RecordedTest], record: RecordedTest) -> list[RecordedTest]:
    """The records and one more, in order of time.

    Of one time and strength it is that test entered again, and is kept once: as it was confirmed,
    if it ever was.
    """
    same = [one for one in records if one[:2] == record[:2]]
    confirmed = [one for one in same if not one.slip and one.log_factor is not None]
    newest = confirmed[-1] if record.slip and confirmed else record
    return sorted([*(one for one in records if one not in same), newest], key=itemgetter(0))
