"""How much the brine at a probe differs in temperature from that at its thermometer, as learnt.

The config only guesses it (`thermometer_apart_k`), and nearly a quarter of the variance of a
strength near a test comes from the part of it that changes from day to day. But standing brine
shows it: observations of the same brine scatter by the sensors' repeatability, which their data
sheets state, and by this. So each observation is compared with what those before it predict of it,
and how far it lies off is one draw of a normal distribution of known variance but for that part.

The variance is learnt as a ratio to what the config says, by the method of moments: each draw
counts as the share of its own variance that this part has, squared, which is what it says about the
ratio (half of its Fisher information). The sensors' repeatability is never taken to be less.
"""

from math import exp
from typing import NamedTuple

APART_SECONDS = 4.0 * 3600.0
"""How long the temperature difference between probe and thermometer lasts: it changes with the
weather, the sun, the heater (common practice, no source)."""
SAME_READING = 0.85
"""The share of that which two observations, or one and a test, made at the same time have in
common."""
GUESSED = 4.0
"""What the config says counts as much as so many draws that had no other cause: a standard
uncertainty of 0.7 of the ratio, since 0.1 K may as well be 0.06 or 0.13 (judgement)."""
MOST_COUNTED = 60.0
"""So many such draws are remembered, the older the less: sun and heater change with the season."""
LEAST, MOST = 0.25, 4.0
"""The ratio is taken to be from half to twice the difference in K, squared."""
FAR = 3.0
"""No draw counts as more standard deviations: a film or a gulp of air isn't weather."""


class Apart(NamedTuple):
    """What standing brine has shown of it; a value, so that a replay learns the same."""

    counted: float = 0.0
    """How many draws there were, each by how much it says."""
    total: float = 0.0
    """The sum of the ratios that they show, weighed so."""

    @property
    def ratio(self) -> float:
        """The variance by what the config says of it; 1 as long as nothing was seen."""
        found = (GUESSED + self.total) / (GUESSED + self.counted)
        return round(min(max(found, LEAST), MOST), 6)

    def seen(self, off: float, variance: float, apart: float) -> "Apart":
        """With one more observation, `off` from what those before it predict.

        `variance` (above 0) is what was expected of `off` squared, with the present ratio; `apart`
        (0 or more) the share of the temperature difference in its root by the config: all of
        ln(conductivity), the variance squared. No unit.
        """
        by_config = apart * apart
        # By the config's size, so that no early guess decides how much later draws say.
        share = by_config / (variance + (1.0 - self.ratio) * by_config)
        weight = share * share
        if weight <= 0.0:
            return self
        squared = min(off * off, FAR * FAR * variance)
        shown = self.ratio + (squared - variance) / by_config
        counted, total = self.counted + weight, self.total + weight * shown
        kept = min(MOST_COUNTED / counted, 1.0)
        return Apart(round(kept * counted, 9), round(kept * total, 9))


def same_reading(seconds: float, a: float, b: float) -> float:
    """Covariance of what two readings of one probe have for errors of their own, of variances `a`
    and `b`, made so many seconds apart.

    One law for observations and tests alike: if two of one time each shared their errors with a
    third, but not with one another, no errors could be like that.
    """
    return SAME_READING * exp(-abs(seconds) / APART_SECONDS) * min(a, b)


def own_variance(own: float, apart: float, ratio: float) -> float:
    """The variance of an observation's or test's own error, with the ratio learnt.

    `own` is its standard uncertainty by the config, and `apart` the part of that which comes from
    the temperature difference.
    """
    return own * own + (ratio - 1.0) * apart * apart
