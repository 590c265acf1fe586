"""What a standing tank says of its probe: nothing came in, so the strength is what it was.

While a tank stands, and through loads, its brine keeps its strength. Whatever the probe then shows
besides is the probe's, the thermometer's or the curve's doing. A look at the probe every half day
ties its factor now to its factor then, whatever the strength is: a film shows without a test, each
cold night shows how the curve goes with temperature, and what a test taught lasts for the stand.

The strength of each stand is an unknown of its own, hardly known beforehand, that all its looks
have in common; so a fill, which begins another stand, is never taken for a change of the probe.
"""

from collections.abc import Sequence
from math import log
from typing import Any, NamedTuple

from brineward.physics.calibration_prior import (
    Change,
    Point,
    Sizes,
    change_before,
    other_covariance,
    point,
    probe_covariance,
)
from brineward.physics.conductivity import log_conductivity, slope_in_mass_fraction
from brineward.physics.probe_test import REPEATED_SHARE, root_sum_of_squares
from brineward.physics.triangles import Rows, cholesky, forward

MOST_LOOKS = 24
"""So many are remembered: twelve days of standing."""
STAND_UNKNOWN = 0.03
"""Mass fraction: what is known of a stand's strength before anything was measured of it."""
STAND_WANDERS = 0.0002
"""Mass fraction: rain, damp and evaporation that no level sees, a look (common practice, no source:
0.1 % of the volume, 2 mm of 2 m)."""
CHANGED_FROM = 6.0
"""A change of the probe is believed where it makes the looks so much likelier (natural logarithm of
the ratio): one look in four hundred falls upon a change, and exp(6) is four hundred."""
LATEST = 4
"""A change is looked for before so many of the newest looks of a stand."""


class Look(NamedTuple):
    """What a probe read of a standing tank at one time."""

    seconds: float
    stand: float
    """When the stand began, seconds: looks of the same one share its strength."""
    temperature_c: float
    mass_fraction: float
    """About what the brine holds, the same for all looks of a stand."""
    log_factor: float
    """ln(conductivity of that strength / what the probe read)."""
    own: float
    """Standard uncertainty of `log_factor` that is this look's own."""
    slope: float
    """Of ln(conductivity) in mass fraction there."""


def look(
    mass_fraction: float,
    *,
    seconds: float,
    stand: float,
    conductivity_s_per_m: float,
    temperature_c: float,
    conductivity_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
    apart_standard_uncertainty_k: float = 0.0,
) -> Look:
    """A look at a probe in brine that stands since `stand`, of about this strength.

    Mass fraction above 0 to 0.27; conductivity above 0, S/m; temperature -25 to 40 degC;
    uncertainties as `probe_test` takes them.
    """
    slope = slope_in_mass_fraction(mass_fraction, temperature_c)
    thermal = point(seconds, temperature_c, mass_fraction).thermal
    own = root_sum_of_squares(
        REPEATED_SHARE * conductivity_standard_uncertainty / conductivity_s_per_m,
        REPEATED_SHARE * thermal * temperature_standard_uncertainty,
        thermal * apart_standard_uncertainty_k,
        slope * STAND_WANDERS,
    )
    factor = log_conductivity(mass_fraction, temperature_c) - log(conductivity_s_per_m)
    return Look(
        seconds,
        stand,
        round(temperature_c, 6),
        round(mass_fraction, 8),
        round(factor, 9),
        round(own, 9),
        round(slope, 6),
    )


def shared_strength(a: Look, b: Look) -> float:
    """Covariance of two looks by the strength that they have in common."""
    if a.stand != b.stand:
        return 0.0
    return a.slope * b.slope * STAND_UNKNOWN * STAND_UNKNOWN


class Stands:
    """The looks at one probe, and the changes that they show; a function of the looks."""

    __slots__ = ("_sizes", "changes", "looks", "lower")

    def __init__(self, sizes: Sizes) -> None:
        self._sizes = sizes
        self.looks: list[Look] = []
        """In order of time."""
        self.changes: list[Change] = []
        """Those of the probe that were seen in standing brine, in order of time."""
        self.lower: Rows = []
        """Covariances of the looks, all but the probe's, as a lower triangle."""

    def take(self, found: Look) -> Change | None:
        """Take the newest look; the change of the probe that it shows, or None."""
        while self.looks and self.looks[-1].seconds >= found.seconds:
            # Of a clock that was ahead.
            del self.looks[-1], self.lower[-1]
        self.changes = [one for one in self.changes if one.seconds < found.seconds]
        self._remember(found)
        # The last one before the oldest look is what the looks begin with.
        while len(self.changes) > 1 and self.changes[1].seconds <= self.looks[0].seconds:
            del self.changes[0]
        change = self._change()
        if change is not None:
            self.changes.append(change)
        return change

    def _remember(self, found: Look) -> None:
        self.looks.append(found)
        at = place(found, ())
        row = [
            other_covariance(at, place(one, ()), self._sizes) + shared_strength(found, one)
            for one in self.looks
        ]
        row[-1] += found.own * found.own
        self.lower.append(row)
        if len(self.looks) > MOST_LOOKS:
            del self.looks[0], self.lower[0]
            self.lower = [row[1:] for row in self.lower]

    def _change(self) -> Change | None:
        """The change of the probe, lately in this stand, that makes the looks likelier by far."""
        stand = [one for one in self.looks if one.stand == self.looks[-1].stand]
        last = self.changes[-1].seconds if self.changes else -1.0
        changes = [
            Change(one.seconds, "step")
            for one in stand[max(1, len(stand) - LATEST) :]
            if one.seconds > last
        ]
        if not changes:
            return None
        by_change = {change: self._likelihood([*self.changes, change]) for change in changes}
        best = max(changes, key=lambda change: by_change[change])
        likely = by_change[best] > self._likelihood(self.changes) + CHANGED_FROM
        return best if likely else None

    def _likelihood(self, changes: Sequence[Change]) -> float:
        """Natural logarithm, but for a constant, of how likely the looks are with these changes."""
        places = [place(one, changes) for one in self.looks]
        rows = cholesky(with_probe(self.lower, places, self._sizes))
        solved = forward(rows, [one.log_factor for one in self.looks])
        found = sum(0.5 * x * x + log(row[-1]) for x, row in zip(solved, rows, strict=True))
        return round(-found, 6)

    # -- plain data

    def freeze(self) -> dict[str, Any]:
        """The looks and changes as plain data."""
        return {
            "looks": [list(one) for one in self.looks],
            "changes": [one.seconds for one in self.changes],
        }

    def thaw(self, data: dict[str, Any]) -> None:
        """Become what `freeze` wrote."""
        self.looks, self.lower = [], []
        for one in data["looks"]:
            self._remember(Look(*one))
        self.changes = [Change(seconds, "step") for seconds in data["changes"]]


def with_probe(lower: Rows, places: Sequence[Point], sizes: Sizes) -> Rows:
    """The covariances of looks at these places with the probe's own among them."""
    return [
        [rest + probe_covariance(a, b, sizes) for rest, b in zip(row, places, strict=False)]
        for row, a in zip(lower, places, strict=True)
    ]


def place(one: Look, changes: Sequence[Change]) -> Point:
    """Where a look was taken."""
    change = change_before(one.seconds, changes)
    return point(one.seconds, one.temperature_c, one.mass_fraction, change)
