"""The strength to expect after a fill: a mass balance, with its uncertainty.

After a fill a tank holds what it held before and a known share of what came in. The best guess of
what came in is what the depot means to make, and what its fills brought before; so a small fill
links two standing periods ("stands") almost as if the tank had stayed at rest, and a large one says
little. A fill that brought something else (a hopper out of salt) says nothing: the strength of the
period after it is an unknown of its own, like that of the first one.

The strengths of all standing periods that are remembered are jointly normal before any of them was
measured; this module keeps their means and covariances.
"""

from collections.abc import Collection
from typing import Any, NamedTuple

STAND_UNKNOWN = 0.03
"""Mass fraction: standard uncertainty of a standing period's strength before any measurement."""
FEED_LASTING = 0.010
"""Mass fraction: how far all of a depot's fills may lie from its target together
(common practice, no source: half of a band of 22 to 25 %, and half as much again)."""
FEED_OWN = 0.008
"""The same, from fill to fill (common practice, no source)."""
FEED_SHORT, SHORT_UNSEEN = 0.025, 0.0008
"""One fill in fifteen is short of salt and brings 8 to 21 % by mass. Of fills that are too small
for that to show each counts with this standard uncertainty, as a mass fraction of what came in, and
of the tank at most (common practice, no source)."""
SHARE_DOUBT, SHARE_LEAST = 0.15, 0.01
"""Uncertainty of the share that came in: relative, and at least (common practice, no source: what
comes in while a pump draws is computed from the fill's usual flow)."""
LEAST_BRINE, MOST_BRINE = 0.0, 0.27
"""Mass fraction: no fill brings less than water, or more than saturated brine."""


class Fed(NamedTuple):
    """What came into a tank between two standing periods."""

    before: float
    """When the standing period before it began, seconds."""
    share: float
    """The share of the tank's contents afterwards that had come in, 0 to 1."""
    feed: float
    """What it is expected to have been, as a mass fraction."""
    stepped: float = 0.0
    """By how much the strength shown changed meanwhile from one minute to the next, which fills
    hardly do; a mass fraction."""


class Reckoned(NamedTuple):
    """What the strength of brine should be, by what it was and what came in: mass fractions."""

    mass_fraction: float
    variance: float
    with_feed: float
    """Covariance with what all fills' strengths have in common."""
    among: dict[float, float]
    """Covariance with the strength of each standing period."""


class Strengths:
    """What is known of the strengths of standing periods before any measurement, from what came in
    between them. Each is given as its difference from what its observations assume."""

    __slots__ = ("_abouts", "_among", "_means", "_with_feed")

    def __init__(self) -> None:
        self._abouts: dict[float, float] = {}
        self._means: dict[float, float] = {}
        self._with_feed: dict[float, float] = {}
        """Covariance of each with what all fills' strengths have in common."""
        self._among: dict[tuple[float, float], float] = {}
        """Covariance of the later with the earlier, and of each with itself."""

    def mean(self, stand: float) -> float:
        """By how much a period is expected to be stronger than its observations assume."""
        return self._means.get(stand, 0.0)

    def covariance(self, a: float, b: float) -> float:
        """Covariance of the strengths of two standing periods, each named by when it began."""
        return self._among.get((max(a, b), min(a, b)), 0.0)

    def is_tied(self, stand: float) -> bool:
        """Does what came in before it say anything about its strength?"""
        return any(
            stand == later != earlier and one for (later, earlier), one in self._among.items()
        )

    def begin(self, stand: float, about: float, fed: Fed | None) -> None:
        """A standing period of about this mass fraction begins; they come in order of time."""
        reckoned = None if fed is None else self.reckoned(fed)
        self._among = {pair: one for pair, one in self._among.items() if stand not in pair}
        self._abouts[stand] = about
        if reckoned is None:
            self._means[stand], self._with_feed[stand] = 0.0, 0.0
            self._among[stand, stand] = STAND_UNKNOWN * STAND_UNKNOWN
            return
        self._means[stand] = round(reckoned.mass_fraction - about, 9)
        self._with_feed[stand] = reckoned.with_feed
        for other, found in reckoned.among.items():
            if other != stand:
                self._among[stand, other] = found
        self._among[stand, stand] = reckoned.variance

    def reckoned(self, fed: Fed) -> Reckoned | None:
        """The strength to expect after this fill; None if the period before it is not known."""
        was, came = fed.before, fed.share
        if was not in self._abouts:
            return None
        stays = 1.0 - came
        before = self._abouts[was] + self._means[was]
        lasting, own = FEED_LASTING * FEED_LASTING, FEED_OWN * FEED_OWN
        doubt = max(SHARE_DOUBT * came, SHARE_LEAST)
        short = min(FEED_SHORT * came, SHORT_UNSEEN)
        unlike = fed.feed - before
        variance = (
            stays * stays * self._among[was, was]
            + came * came * (lasting + own)
            + 2.0 * stays * came * self._with_feed[was]
            + short * short
            + doubt * doubt * (unlike * unlike + lasting + own)
        )
        return Reckoned(
            stays * before + came * fed.feed,
            round(variance, 14),
            round(stays * self._with_feed[was] + came * lasting, 14),
            {
                other: round(stays * self.covariance(was, other) + came * with_feed, 14)
                for other, with_feed in self._with_feed.items()
            },
        )

    def keep(self, stands: Collection[float]) -> None:
        """Forget all others."""
        for gone in [one for one in self._abouts if one not in stands]:
            del self._abouts[gone], self._means[gone], self._with_feed[gone]
            self._among = {pair: one for pair, one in self._among.items() if gone not in pair}

    def freeze(self) -> dict[str, Any]:
        """The same as plain data."""
        return {
            "stands": [
                [one, about, self._means[one], self._with_feed[one]]
                for one, about in self._abouts.items()
            ],
            "among": [[later, earlier, found] for (later, earlier), found in self._among.items()],
        }

    def thaw(self, data: dict[str, Any]) -> None:
        """Become what `freeze` wrote."""
        self._abouts = {one[0]: one[1] for one in data["stands"]}
        self._means = {one[0]: one[2] for one in data["stands"]}
        self._with_feed = {one[0]: one[3] for one in data["stands"]}
        self._among = {(later, earlier): found for later, earlier, found in data["among"]}


def could_bring(fed: Fed, stronger: float, doubt: float) -> bool:
    """Could a fill have made the tank so much stronger (below 0: weaker) than it was expected to?

    Mass fractions; `doubt` is how far that may be off.
    """
    least = fed.share * (LEAST_BRINE - fed.feed) - doubt
    most = fed.share * (MOST_BRINE - fed.feed) + doubt
    return least <= stronger <= most
