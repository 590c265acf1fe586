"""A test that is struck: all that is believed is as if it had never been made."""

import json
from collections.abc import Sequence

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.conductivity import conductivity
from brineward.physics.probe_test import ProbeTest, probe_test
from brineward.physics.stands import look

SIZES = Sizes(0.01, 0.3)
BRINE = 0.233


def read_on(day: float, off: float = 0.0) -> dict[str, float]:
    """What a probe reads that is `off` (relative), and how well."""
    read = conductivity(BRINE, 8.0) * (1.0 + off)
    return {
        "seconds": day * DAY_SECONDS,
        "conductivity_s_per_m": read,
        "temperature_c": 8.0,
        "conductivity_standard_uncertainty": 0.01 * read,
        "temperature_standard_uncertainty": 0.3,
    }


def marked(day: float, off: float, *, cleaned: bool = False) -> ProbeTest:
    """A test on a day, of a probe that reads `off` (relative) of the true conductivity."""
    return probe_test(BRINE, 0.0013, cleaned=cleaned, **read_on(day, off))


def said(found: Calibration) -> str:
    """All that a calibration holds and says, to the last bit."""
    days = (0.0, 20.0, 45.0)
    factors = [found.factor_at(day * DAY_SECONDS, 8.0, BRINE) for day in days]
    lent = found.lent(45.0 * DAY_SECONDS, 8.0, BRINE)
    judged = found.findings, found.parted, found.odd, found.changes, found.film()
    return repr((found.freeze(), judged, factors, lent, found.doubt()))


def restarted(found: Calibration) -> Calibration:
    """The same by another process."""
    again = Calibration(SIZES)
    again.thaw(json.loads(json.dumps(found.freeze())))
    return again


def of(tests: Sequence[ProbeTest]) -> Calibration:
    """A calibration that has taken these tests."""
    found = Calibration(SIZES)
    for one in tests:
        found.observe(one)
    return found


TESTS = st.lists(
    st.builds(
        marked,
        st.integers(0, 40).map(float),
        st.sampled_from([-0.08, -0.05, -0.01, 0.0, 0.004, 0.02, 0.06]),
        cleaned=st.sampled_from([False, False, False, True]),
    ),
    min_size=1,
    max_size=8,
    unique_by=lambda one: one.seconds,
)


@settings(max_examples=200, deadline=None)
@given(TESTS, st.data())
def test_what_is_left_is_all_that_counts(tests: list[ProbeTest], data: st.DataObject) -> None:
    """Tests entered in any order, some struck at any time after, restarted or not: the same as
    those that are left, entered in order."""
    wrong = data.draw(st.lists(st.sampled_from(tests), min_size=1, unique=True))
    found, waits = Calibration(SIZES), []
    for one in data.draw(st.permutations(tests)):
        found.observe(one)
        waits += [one] * (one in wrong)
        while waits and data.draw(st.booleans()):
            gone = waits.pop(data.draw(st.integers(0, len(waits) - 1)))
            found.strike(gone.seconds, round(gone.mass_fraction, 6))
        if data.draw(st.booleans()):
            found = restarted(found)
    for gone in waits:
        found.strike(gone.seconds, round(gone.mass_fraction, 6))
    assert said(found) == said(of([one for one in tests if one not in wrong]))


def test_a_test_that_was_not_made_strikes_nothing() -> None:
    """Another time, or another strength."""
    found = of([marked(1.0, 0.01), marked(9.0, 0.012)])
    before = said(found)
    found.strike(2.0 * DAY_SECONDS, round(found.tests[0].mass_fraction, 6))
    found.strike(1.0 * DAY_SECONDS, 0.2)
    assert said(found) == before


def filmed(wrong: Sequence[ProbeTest]) -> Calibration:
    """Forty days of a probe that loses 2 % a month from the fifteenth on, looked at each day in
    brine that stands for six days at a time, with a test every ten days, and wrong ones."""
    random = np.random.default_rng([20771, 0])
    found = Calibration(SIZES)
    for day in range(40):
        off = -0.02 * max(0, day - 15) / 30
        seen = read_on(float(day), off + 0.001 * float(random.standard_normal()))
        found.look(look(BRINE, stand=(day - day % 6) * DAY_SECONDS, **seen))
        tested = off + 0.001 * float(random.standard_normal())
        if day % 10 == 3:
            found.observe(marked(float(day), tested))
        for one in wrong:
            if day * DAY_SECONDS <= one.seconds < (day + 1) * DAY_SECONDS:
                found.observe(one)
    return found


def test_a_film_that_is_believed_by_it_is_not_believed_without_it() -> None:
    """It would have been seen a week later: what a wrong test added goes with it, in another
    process too."""
    wrong = marked(30.5, -0.0143)
    found, plain = filmed([wrong]), filmed([])
    assert found.film() is not None
    assert plain.film() is None
    found = restarted(found)
    found.strike(wrong.seconds, round(wrong.mass_fraction, 6))
    assert said(found) == said(plain)


def test_a_film_that_was_believed_before_it_stays() -> None:
    """A wrong test of the next day teaches nothing of it."""
    found = filmed([marked(30.5, -0.0143)])
    before = said(found)
    wrong = marked(40.0, 0.03)
    found.observe(wrong)
    assert said(found) != before
    found.strike(wrong.seconds, round(wrong.mass_fraction, 6))
    assert said(found) == before
