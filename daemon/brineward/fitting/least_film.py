"""How soon could a film be reported at best? A bound, by sizes that are known.

    python -m brineward.fitting.least_film -n 40

The likelihood ratio is the most powerful test between two hypotheses (Neyman & Pearson 1933,
Phil. Trans. R. Soc. A 231:289). Here one is a year of `rough_seasons` without a film, the other the
same with a film whose day, kind and size are known, for somebody who knows as much as in
`least_width`. All is Gaussian and linearised at the truth, so its power follows from how far apart
the two are. A false report is allowed once in `LOOKS` tests, about once a year, as the service has
it. Whoever must also find out when the film came and how fast it grows can't do better.
"""

import argparse
import sys
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.linalg import solve_triangular
from scipy.stats import norm

from brineward.fitting.conductivity_rows import Floats
from brineward.fitting.least_width import Witnesses, triangle_of, witnesses
from brineward.fitting.rough_seasons import MONTH_DAYS, SEED, drawn_rough
from brineward.fitting.seasons import DAYS

LOOKS = 38
"""Tests in a year, one every 5 to 14 days; at each a film could be reported."""
FILM_FROM, FILM_UNTIL = 60, 240
"""Days of the year between which films come, as in `rough_seasons`."""
TESTS = (1, 2, 3, 4, 6, 8)
STANDING_DAYS = 3


class Power(NamedTuple):
    """The highest probability that a film is reported, of one year."""

    standing: float
    """By the third day after it came, whether the brine stood or was exchanged,"""
    by_test: tuple[float, ...]
    """and by each of the `TESTS` after it came."""


def apart(seen: Witnesses, lost: Floats) -> Floats:
    """How many standard deviations apart a year with a film and one without are, by each witness.

    `lost` is the share of the reading that the film takes, day by day. The square of what is
    returned is the sum up to each witness in order of time.
    """
    shift = np.where(seen.readings, np.log1p(-lost[seen.days]), 0.0)
    white = solve_triangular(triangle_of(seen), shift, lower=True)
    found: Floats = np.sqrt(np.cumsum(white**2))
    return found


def power(deviations: float, *, false_reports: float = 1.0 / LOOKS) -> float:
    """Probability that the most powerful test reports what is so many deviations apart."""
    return float(norm.cdf(deviations - norm.isf(false_reports)))


def films(years: int, seed: int, lost_at_once: float, lost_a_month: float) -> list[Power]:
    """One film a year, of these shares of the reading; its day is drawn."""
    found = []
    for number in range(years):
        random = np.random.default_rng([seed, number])
        season = drawn_rough(random).season
        day = int(random.integers(FILM_FROM, FILM_UNTIL))
        since = np.arange(DAYS) - day
        lost = np.where(since >= 0, lost_at_once + lost_a_month * since / MONTH_DAYS, 0.0)
        seen = witnesses(season)
        far = apart(seen, np.minimum(lost, 0.15))

        def by(last: int, seen: Witnesses = seen, far: Floats = far) -> float:
            return power(float(far[np.searchsorted(seen.days, last, side="right") - 1]))

        after = [test for test in sorted(season.tests) if test >= day]
        tests = tuple(by(after[count - 1]) for count in TESTS)
        found.append(Power(by(day + STANDING_DAYS), tests))
    return found


def main(arguments: Sequence[str]) -> None:
    """Print the power by test, of films of several sizes."""
    parser = argparse.ArgumentParser(description="How soon could a film be reported at best?")
    parser.add_argument("-n", "--years", type=int, default=40)
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args(arguments)
    heads = "".join(f"{count:6d}" for count in TESTS)
    lines = [f"{'reported, % of films, by':28s}{STANDING_DAYS:3d} days, or test{heads}"]
    kinds = [(0.0, rate) for rate in (0.01, 0.02, 0.03, 0.04)] + [(0.01, 0.0), (0.02, 0.0)]
    for at_once, a_month in kinds:
        rows = films(asked.years, asked.seed, at_once, a_month)
        name = f"{100 * a_month:.0f} % a month" if a_month else f"{100 * at_once:.0f} % at once"
        shares = np.mean([one.by_test for one in rows], axis=0)
        standing = np.mean([one.standing for one in rows])
        by_test = "".join(f"{100 * share:6.0f}" for share in shares)
        lines.append(f"{name:28s}{100 * standing:5.0f}{'':12s}{by_test}")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
