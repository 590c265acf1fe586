"""What became of one hydrometer test of a probe."""

from collections.abc import Sequence
from math import exp, sqrt
from operator import itemgetter
from typing import NamedTuple

from brineward.physics.conductivity import slope_in_mass_fraction
from brineward.physics.probe_test import DENSITY_IMPURITY
from brineward.readings.entries import HandTest
from brineward.readings.instants import Instant

WEAKEST_TESTED = 0.01
"""Mass fraction: a test of weaker brine, or of water, says nothing about a probe of brine, since
its own error is a large share of it (common practice, no source). It is refused at entry, but a
journal may hold one that an older version took."""

DRIFTED = 0.05
"""A probe with this error (relative) needs cleaning (common practice, no source)."""
ODD_FROM = 4.0
"""A single test this many standard deviations off is worth a text. At three, one sound test in 370
would raise an alarm, a false one for a depot in five months; who enters it is asked at once anyway.
"""
STEP_FROM = 0.02
"""A probe that has changed by less than this is corrected by the two tests that showed it, and
raises no alarm (common practice, no source)."""


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
    cleaned: bool = False
    """The probe was cleaned, moved or replaced before it."""

    @property
    def salt_parted(self) -> float | None:
        """What `parted` is in salt, a mass fraction, to the first order: what people compare."""
        if self.parted is None or self.temperature_c is None:
            return None
        return self.parted / slope_in_mass_fraction(self.mass_fraction, self.temperature_c)


class StruckRecord(NamedTuple):
    """A test that was struck: it stays on record, and teaches nothing."""

    test: RecordedTest
    """What had become of it until then."""
    struck: Instant
    by: str
    why: str


def recorded(
    test: HandTest,
    finding: str,
    said: tuple[float, float] | None,
    factors: tuple[float, float] | None,
) -> RecordedTest:
    """What became of this test: `said` by probe and thermometer, `factors` its own and `parted`."""
    spread = sqrt(test.standard_uncertainty**2 + DENSITY_IMPURITY**2)
    record = RecordedTest(
        test.at,
        round(test.mass_fraction, 6),
        round(spread, 6),
        test.by,
        finding,
        *(said or (None, None)),
        *(factors or (None, None)),
    )
    return record._replace(cleaned=test.cleaned)


def with_record(records: Sequence[RecordedTest], record: RecordedTest) -> list[RecordedTest]:
    """The records and one more, in order of time.

    Of one time and strength it is that test entered again, and is kept once: as it was confirmed,
    if it ever was.
    """
    same = [one for one in records if one[:2] == record[:2]]
    confirmed = [one for one in same if not one.slip and one.log_factor is not None]
    newest = confirmed[-1] if record.slip and confirmed else record
    newest = newest._replace(cleaned=record.cleaned or any(one.cleaned for one in same))
    return sorted([*(one for one in records if one not in same), newest], key=itemgetter(0))


def last_paired(records: Sequence[RecordedTest]) -> RecordedTest | None:
    """The last test that the probe could be compared with: another one answers no question."""
    return next((one for one in reversed(records) if one.log_factor is not None), None)


def _asked_about(records: Sequence[RecordedTest]) -> RecordedTest | None:
    """The last test, or one before it that is set aside, if the last was in doubt."""
    odd = (one for one in reversed(records) if one.finding == "odd")
    return next(odd, last_paired(records))


def disagreement_of(records: Sequence[RecordedTest]) -> str:
    """How far the last test and what was to be expected of it are apart; empty if unknown."""
    last = _asked_about(records)
    if last is None or last.salt_parted is None:
        return ""
    return f"probe and test disagree by {abs(last.salt_parted) * 100:.1f} % salt"


def question_of(records: Sequence[RecordedTest], odd_from: float) -> str:
    """What the last test leads to ask, as `Probe.question`; empty if all is well."""
    last = _asked_about(records)
    if last is None or last.log_factor is None or last.parted is None:
        return ""
    if last.finding == "odd" and last.oddness >= odd_from:
        return disagreement_of(records)
    # A factor above 1 corrects a probe that reads low.
    off = 1.0 - exp(-last.log_factor)
    reads = f"{abs(off) * 100:.1f} % {'low' if off > 0 else 'high'}"
    if abs(off) >= DRIFTED:
        return f"probe reads {reads}"
    if last.finding == "step" and (abs(off) >= STEP_FROM or not odd_from):
        return f"probe shifted, reads {reads}"
    return ""
