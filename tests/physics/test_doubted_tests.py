"""The newest test, if it lies far from what the others predict, is doubted until one bears it out.

What it alone has changed is known, so that nobody is called for weak brine by a single mark.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.judgement import Judgement
from physics.test_calibration import BRINE, at, marked, of

CELSIUS = 10.0
THREE = (marked(0.0, 0.0), marked(1.0, 0.0), marked(3.0, 0.0))


def lent(found: Calibration, day: float) -> float:
    """By the doubted test, at the usual strength."""
    return found.lent(day * DAY_SECONDS, CELSIUS, BRINE)


def test_a_test_that_agrees_is_not_doubted() -> None:
    """Nor is a first one, which nothing stands beside."""
    assert of(THREE[0]).doubted() == []
    assert of(*THREE).doubted() == []
    assert lent(of(*THREE), 3.5) == 0.0


@pytest.mark.parametrize("off", [-0.009, 0.009])
def test_a_test_that_parts_is_doubted_and_what_it_changed_is_known(off: float) -> None:
    """It is the factor with it, less the factor without it."""
    parted = marked(5.0, off)
    found = of(*THREE, parted)
    assert found.findings[parted] == "kept"
    assert found.doubted() == [parted]
    change = at(found, 5.3)[0] - at(of(*THREE), 5.3)[0]
    assert lent(found, 5.3) == pytest.approx(change, abs=2e-4)
    assert abs(lent(found, 5.3)) > 0.002


def test_the_same_sample_again_bears_nothing_out() -> None:
    """Both of one occasion are doubted together."""
    again = marked(5.05, -0.009)
    found = of(*THREE, marked(5.0, -0.009), again)
    assert again in found.doubted()
    assert len(found.doubted()) == 2


@pytest.mark.parametrize("off", [0.0, -0.013])
def test_a_test_on_another_day_settles_it(off: float) -> None:
    """One that agrees with the first three, or one that agrees with the odd one, by which the
    probe has changed: nothing is lent by a single test any more."""
    found = of(*THREE, marked(5.0, -0.013), marked(9.0, off))
    assert lent(found, 9.5) == 0.0


def test_a_cleaning_explains_it() -> None:
    """Who cleaned the probe expects another factor."""
    assert of(*THREE, marked(5.0, 0.013)._replace(cleaned=True)).doubted() == []


@given(st.lists(st.tuples(st.integers(0, 40), st.floats(-0.03, 0.03)), min_size=1, max_size=6))
def test_what_is_lent_does_not_depend_on_the_order_of_entry(days: list[tuple[int, float]]) -> None:
    """The same tests entered in reverse lend the same."""
    tests = [marked(float(day), off) for day, off in dict(days).items()]
    one, other = of(*tests), of(*reversed(tests))
    assert lent(one, 41.0) == lent(other, 41.0)
    restored = Calibration(Sizes(0.01, 0.3))
    restored.thaw(one.freeze())
    assert lent(restored, 41.0) == lent(one, 41.0)


@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.floats(-0.03, 0.03), st.booleans()),
        max_size=7,
        unique_by=lambda drawn: drawn[0],
    )
)
def test_what_was_believed_before_a_test_is_what_those_before_it_show(
    drawn: list[tuple[int, float, bool]],
) -> None:
    """After any number of them: the same tests and changes as if no more had been made."""
    tests = [marked(float(d), off)._replace(cleaned=cleaned) for d, off, cleaned in sorted(drawn)]
    sizes = Sizes(0.01, 0.3)
    after = Judgement(sizes, tests).after
    for count in range(len(tests) + 1):
        judged = Judgement(sizes, tests[:count])
        assert after[count] == (tuple(judged.kept), tuple(judged.changes))
