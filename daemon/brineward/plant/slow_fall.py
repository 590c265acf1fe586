"""Brine that seems to weaken no faster than a film grows over the probe.

Pure. Between two tests nothing tells a film that creeps from fills that are a little weaker each
time: both lower what is shown a little from one standing period to the next. A hopper that runs
out, or a blend that is set wrong, weakens brine within days. So where every strength that was shown
at rest since the last test lies no further above what is shown now than a film could have taken
since, and a film could have taken what the brine lacks, it may be either.
"""

from collections.abc import Sequence

from brineward.physics.conductivity import COLDEST_C, WARMEST_C, slope_in_mass_fraction
from brineward.readings.instants import DAY, Instant

Rest = tuple[Instant, float]
"""When a tank came to rest, and the strength that was then shown, as a mass fraction."""

FASTEST_A_MONTH = 0.05
"""The share of the reading that a film takes in thirty days, at most (common practice, no source:
films of 1 to 4 % a month are what the estimate expects)."""
MONTH = 30 * DAY
BETWEEN_RESTS = 0.004
"""Mass fraction: so much two strengths at rest differ besides, by healthy fills and by the distance
between probe and thermometer (common practice, no source)."""
ANNOUNCED_TIMES = 2.0
"""So many times as much once it was announced (common practice, no source)."""
_LEAST_BRINE, _MOST_BRINE = 0.01, 0.26


def film_takes(since: Instant, now: Instant, mass_fraction: float, celsius: float) -> float:
    """How much weaker a film may have come to make brine seem since then, as a mass fraction.

    Brine of about this mass fraction, 0.01 to 0.26 (held to it), -25 to 40 degC (held to it).
    """
    about = min(max(mass_fraction, _LEAST_BRINE), _MOST_BRINE)
    warm = min(max(celsius, COLDEST_C), WARMEST_C)
    taken = FASTEST_A_MONTH * max(now - since, 0) / MONTH
    return taken / max(slope_in_mass_fraction(about, warm), 1.0)


def fallen_slowly(
    rests: Sequence[Rest],
    *,
    tested: Instant,
    now: Instant,
    shown: float,
    celsius: float,
    limit: float,
    besides: float = BETWEEN_RESTS,
) -> float:
    """How much weaker brine that is shown under its limit seems than at its first rest since the
    last test, if a film may have done it; else 0. Mass fractions.

    `rests` are those since the test, in order of time. Brine that was under its limit at the first
    of them was weak by the test itself. `besides`: how much they may differ besides.
    """
    if not rests or rests[0][1] < limit:
        return 0.0
    more = besides - BETWEEN_RESTS
    if round(shown + film_takes(tested, now, shown, celsius) + more - limit, 6) < 0:
        return 0.0
    for at, strength in rests:
        lost = film_takes(at, now, shown, celsius) + besides
        if round(strength - shown - lost, 6) > 0:
            return 0.0
    return max(round(rests[0][1] - shown, 6), 0.0)
