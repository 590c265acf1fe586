"""What a standing tank shows about its probe: nothing came in, so the strength has not changed.

While a tank is at rest its brine keeps its strength. Any change in what the probe shows then comes
from the probe, the thermometer or the curve. Repeated observations of the probe (a `Look` each)
relate its factor now to its factor then, whatever the strength is: a film shows without a test,
each cold night shows how conductivity changes with temperature, and what a test showed remains
valid for the standing period (a "stand": the time between two movements of the level).

The strength of each standing period is an unknown of its own, hardly known beforehand, that all its
observations have in common; so a fill, which begins another period, is never mistaken for a change
of the probe.

If density is measured too, an observation has a second value: what the probe's factor must be for
the strength that density gives. All of these share the density meter's own lasting error, and the
effect of other salts on density, which hydrometer tests share as well.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import exp, log, sqrt
from typing import Any, NamedTuple

from brineward.physics.apart import Apart, own_variance, same_reading
from brineward.physics.calibration_prior import (
    DAY_SECONDS,
    Change,
    Point,
    Sizes,
    change_before,
    other_covariance,
    point,
    probe_covariance,
)
from brineward.physics.conductivity import log_conductivity, slope_in_mass_fraction
from brineward.physics.fed import MOST_BRINE, Fed, Strengths, could_bring
from brineward.physics.probe_test import (
    DENSITY_SALTS,
    REPEATED_SHARE,
    SALTS_LEFT,
    ProbeTest,
    apart_varies_k,
    root_sum_of_squares,
)
from brineward.physics.triangles import Rows, cholesky, forward

MOST_LOOKS = 24
"""How many are remembered: all of the last two days, and then one a day,"""
ALL_OF_SECONDS, DAILY_SECONDS = 2.0 * DAY_SECONDS, 0.9 * DAY_SECONDS
"""so that they reach back three weeks: a film that grows shows over weeks only."""
STAND_WANDERS = 0.0002
"""Mass fraction for each observation: rain, damp and evaporation that no level sensor shows (common
practice, no source: 0.1 % of the volume, 2 mm of 2 m)."""
CHANGED_FROM = 6.0
"""A change of the probe is believed if it makes the observations this much likelier (natural
logarithm of the ratio): one observation in four hundred follows a change, and exp(6) is 403."""
MOST_CHANGES = 8
"""How many of them are remembered, the newest."""
LATEST = 4
"""A change is looked for before each of this many newest observations of a standing period."""
METER_STAYS = 0.85
"""The share of a density meter's standard uncertainty that stays from reading to reading (common
practice, no source: gauges of density drift and foul far more than they scatter)."""
METER_LIFE_DAYS = 450.0
FED_ODD = 2.0
"""If after a fill the tank reads this many standard deviations from what was expected, something
else came in, and the fill says nothing about the probe,"""
FED_IMPOSSIBLE = 3.0
"""or, if no brine whatever could explain it within this many, the probe has changed."""
DENSITY_ODD = 3.0
"""A density this many standard deviations from what earlier observations predict is not used."""


class Look(NamedTuple):
    """What a probe read of a standing tank at one time."""

    seconds: float
    stand: float
    """When the standing period began, seconds: all observations in it share its strength."""
    temperature_c: float
    mass_fraction: float
    """The brine's approximate strength, the same for all observations of a standing period."""
    log_factor: float
    """ln(conductivity of that strength / what the probe read)."""
    own: float
    """The part of the standard uncertainty of `log_factor` that only this observation has."""
    slope: float
    """Of ln(conductivity) in mass fraction there."""
    by_density: float | None = None
    """As `log_factor`, from the strength that density gave; None if it gave none."""
    meter: float = 0.0
    """Standard uncertainty of `by_density` from the density meter's lasting error."""
    meter_own: float = 0.0
    """The same, from what differs between observations."""
    apart: float = 0.0
    """The part of `own` from the temperature difference to the thermometer, by the config."""

    def read_variance(self, ratio: float) -> float:
        """Variance of the part of `own` from what probe and thermometer read, with the ratio learnt
        (`Apart.ratio`)."""
        wanders = self.slope * STAND_WANDERS
        return max(own_variance(self.own, self.apart, ratio) - wanders * wanders, 0.0)


class Said(NamedTuple):
    """One value of an observation: by the standing period's common strength, or by density's."""

    look: Look
    dense: bool
    expected: float = 0.0
    """How much higher ln(conductivity) should be, by what came in before its standing period."""

    @property
    def log_factor(self) -> float:
        """What it says of the probe's factor."""
        told = self.look.by_density
        return told if self.dense and told is not None else self.look.log_factor + self.expected


class Dense(NamedTuple):
    """A strength by density, with its standard uncertainties, all as mass fractions."""

    mass_fraction: float
    lasting: float
    """The meter's lasting error: its zero, its calibration."""
    own: float
    """What differs from reading to reading."""


def dense(mass_fraction: float, by_meter: float) -> Dense:
    """The strength by density, less the mean of other salts; all are mass fractions.

    `by_meter` is the meter's standard uncertainty.
    """
    scattered = sqrt(1.0 - METER_STAYS * METER_STAYS)
    of_salt = max(mass_fraction - DENSITY_SALTS, 0.5 * mass_fraction)
    return Dense(of_salt, METER_STAYS * by_meter, scattered * by_meter)


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
    by_density: Dense | None = None,
) -> Look:
    """An observation of a probe in brine that has stood since `stand`, of about this strength.

    Mass fraction above 0 to 0.27; conductivity above 0, S/m; temperature -25 to 40 degC;
    uncertainties as `probe_test` takes them.
    """
    slope = slope_in_mass_fraction(mass_fraction, temperature_c)
    thermal = point(seconds, temperature_c, mass_fraction).thermal
    apart = thermal * apart_varies_k(apart_standard_uncertainty_k)
    own = root_sum_of_squares(
        REPEATED_SHARE * conductivity_standard_uncertainty / conductivity_s_per_m,
        REPEATED_SHARE * thermal * temperature_standard_uncertainty,
        apart,
        slope * STAND_WANDERS,
    )
    factor = log_conductivity(mass_fraction, temperature_c) - log(conductivity_s_per_m)
    found = Look(
        seconds,
        stand,
        round(temperature_c, 6),
        round(mass_fraction, 8),
        round(factor, 9),
        round(own, 9),
        round(slope, 6),
        apart=round(apart, 9),
    )
    if by_density is None:
        return found
    told = log_conductivity(by_density.mass_fraction, temperature_c) - log(conductivity_s_per_m)
    return found._replace(
        by_density=round(told, 9),
        meter=round(slope * by_density.lasting, 9),
        meter_own=round(slope * by_density.own, 9),
    )


def taken_for(one: Look, mass_fraction: float) -> Look:
    """The same observation, with another strength assumed for the brine; above 0 to 0.27."""
    was, now = (log_conductivity(w, one.temperature_c) for w in (one.mass_fraction, mass_fraction))
    return one._replace(
        mass_fraction=round(mass_fraction, 8),
        log_factor=round(one.log_factor + now - was, 9),
        slope=round(slope_in_mass_fraction(mass_fraction, one.temperature_c), 6),
    )


def shared_with_test(one: Look, test: ProbeTest, ratio: float = 1.0) -> float:
    """Covariance of an observation with a test made at about that time: both used the same reading,
    of brine that differed as much from the thermometer's temperature (`ratio`: `Apart.ratio`).
    """
    reads = one.read_variance(ratio), test.read_variance(ratio)
    return same_reading(one.seconds - test.seconds, *reads)


def meter_kept(seconds: float) -> float:
    """How much of its lasting error a density meter still has after so long; 0 to 1."""
    return exp(-abs(seconds) / DAY_SECONDS / METER_LIFE_DAYS)


def _covariance(a: Said, b: Said, sizes: Sizes, strengths: Strengths) -> float:
    """Covariance of two values of observations, without the probe's own share."""
    one, other = a.look, b.look
    found = other_covariance(place(one, ()), place(other, ()), sizes)
    if not a.dense and not b.dense:
        found += one.slope * other.slope * strengths.covariance(one.stand, other.stand)
    if a.dense and b.dense:
        found += one.meter * other.meter * meter_kept(one.seconds - other.seconds)
        found += SALTS_LEFT * SALTS_LEFT * one.slope * other.slope
    if one is other:
        found += one.own * one.own
        if a.dense and b.dense:
            found += one.meter_own * one.meter_own
    return found


class Stands:
    """The observations of one probe, and the changes that they show; a function of them alone."""

    __slots__ = ("_sizes", "apart", "changes", "looks", "lower", "said", "strengths")

    def __init__(self, sizes: Sizes) -> None:
        self._sizes = sizes
        self.looks: list[Look] = []
        """In order of time."""
        self.changes: list[Change] = []
        """Those of the probe that were seen in standing brine, in order of time."""
        self.said: list[Said] = []
        """One word of each look, two where density was measured beside it."""
        self.strengths = Strengths()
        """What is known of theirs before anything was measured."""
        self.lower: Rows = []
        """Covariances of those words, all but the probe's, as a lower triangle."""
        self.apart = Apart()
        """How much the brine at the probe differs in temperature from that at its thermometer."""

    def take(self, found: Look, fed: Fed | None = None) -> Change | None:
        """Add the newest observation; the change of the probe that it shows, or None.

        `fed` is what came in before its standing period, if that is known.
        """
        while self.looks and self.looks[-1].seconds >= found.seconds:
            # Of a clock that was ahead.
            del self.looks[-1]
            self._forget_newest()
        self.changes = [one for one in self.changes if one.seconds < found.seconds]
        found, change = self._begin(found, fed)
        self._remember(found)
        del self.changes[:-MOST_CHANGES]
        if change is None:
            change = self._change()
        if change is not None:
            self.changes = sorted([*self.changes, change])
        else:
            self._learn_apart()
        known = any(one.dense for one in self.said[:-1])
        if found.by_density is not None and known and self._density_is_odd():
            del self.said[-1], self.lower[-1]
            plain = found._replace(by_density=None, meter=0.0, meter_own=0.0)
            self.looks[-1], self.said[-1] = plain, self.said[-1]._replace(look=plain)
        return change

    def believe(self, film: Change) -> None:
        """A growing film is believed: observations are compared with its effect as well."""
        self.changes = sorted([*self.changes, film])[-MOST_CHANGES:]

    def _begin(self, found: Look, fed: Fed | None) -> tuple[Look, Change | None]:
        """Is it the first of a standing period? Then what came in explains it, or a change does.

        Returns the change, if nothing that came in could explain it, and the observation, with the
        strength that the brine must then have.
        """
        self.strengths.keep({one.stand for one in self.looks})
        if self.looks and self.looks[-1].stand == found.stand:
            return found, None
        if fed is not None and (not self.looks or self.looks[-1].stand != fed.before):
            fed = None
        self.strengths.begin(found.stand, found.mass_fraction, fed)
        if fed is None:
            return found, None
        self._remember(found._replace(by_density=None))
        rows = self._triangle(self.changes)
        parted = forward(rows, [one.log_factor for one in self.said])[-1]
        spread = rows[-1][-1] / found.slope
        del self.looks[-1], self.said[-1], self.lower[-1]
        # What the probe changed by in a step it would read the more without it.
        without = parted + fed.stepped / spread
        if fed.stepped and abs(round(without, 6)) <= min(FED_ODD, abs(round(parted, 6))):
            return self._probe_changed(found, fed)
        if abs(round(parted, 6)) <= FED_ODD:
            return found, None
        if could_bring(fed, -parted * spread, FED_IMPOSSIBLE * spread):
            self.strengths.begin(found.stand, found.mass_fraction, None)
            return found, None
        return self._probe_changed(found, fed)

    def _probe_changed(self, found: Look, fed: Fed) -> tuple[Look, Change]:
        """The first look of a stand, taken for the brine that what came in predicts."""
        expected = found.mass_fraction + self.strengths.mean(found.stand)
        found = taken_for(found, min(max(expected, 0.01), MOST_BRINE))
        self.strengths.begin(found.stand, found.mass_fraction, fed)
        return found, Change(found.seconds, "step")

    def _forget_newest(self) -> None:
        kept = {id(one) for one in self.looks}
        while self.said and id(self.said[-1].look) not in kept:
            del self.said[-1], self.lower[-1]

    def _remember(self, found: Look) -> None:
        self.looks.append(found)
        words = [Said(found, False, round(found.slope * self.strengths.mean(found.stand), 9))]
        if found.by_density is not None:
            words.append(Said(found, dense=True))
        for word in words:
            self.said.append(word)
            self.lower.append(
                [_covariance(word, one, self._sizes, self.strengths) for one in self.said]
            )
        if len(self.looks) > MOST_LOOKS:
            self._forget(self._spared())

    def _spared(self) -> int:
        """The observation that is missed least: the oldest within a day of the one before it, or
        the oldest of all."""
        until = self.looks[-1].seconds - ALL_OF_SECONDS
        for place, (before, one) in enumerate(pairwise(self.looks), start=1):
            if one.seconds > until:
                break
            if one.seconds - before.seconds < DAILY_SECONDS:
                return place
        return 0

    def _forget(self, place: int) -> None:
        gone = self.looks.pop(place)
        kept = [number for number, word in enumerate(self.said) if word.look is not gone]
        self.said = [self.said[number] for number in kept]
        self.lower = [
            [self.lower[number][other] for other in kept if other <= number] for number in kept
        ]

    def _density_is_odd(self) -> bool:
        """Does the newest density disagree with the observations by more than their uncertainty?"""
        rows = self._triangle(self.changes)
        # The last of these is how far the newest lies from what all others predict, in
        # standard deviations.
        solved = forward(rows, [one.log_factor for one in self.said])
        return abs(round(solved[-1], 6)) > DENSITY_ODD

    def _change(self) -> Change | None:
        """The recent change of the probe in this standing period that makes the observations far
        likelier; None if there is none."""
        stand = [one for one in self.looks if one.stand == self.looks[-1].stand]
        last = max((one.seconds for one in self.changes if one.kind != "creep"), default=-1.0)
        changes = [
            Change(one.seconds, "step")
            for one in stand[max(1, len(stand) - LATEST) :]
            if one.seconds > last
        ]
        if not changes:
            return None
        by_change = {
            change: self._likelihood(sorted([*self.changes, change])) for change in changes
        }
        best = max(changes, key=lambda change: by_change[change])
        likely = by_change[best] > self._likelihood(self.changes) + CHANGED_FROM
        return best if likely else None

    def _learn_apart(self) -> None:
        """How far does the newest observation lie from what those of its period predict?"""
        newest = self.looks[-1]
        if len(self.looks) < 2 or self.looks[-2].stand != newest.stand:
            return
        rows = self._triangle(self.changes)
        parted = forward(rows, [one.log_factor for one in self.said])
        number = next(n for n, one in enumerate(self.said) if one.look is newest)
        spread = rows[number][-1]
        self.apart = self.apart.seen(parted[number] * spread, spread * spread, newest.apart)

    def _likelihood(self, changes: Sequence[Change]) -> float:
        """Log likelihood of the observations with these changes, up to a constant."""
        rows = self._triangle(changes)
        solved = forward(rows, [one.log_factor for one in self.said])
        found = sum(0.5 * x * x + log(row[-1]) for x, row in zip(solved, rows, strict=True))
        return round(-found, 6)

    def _triangle(self, changes: Sequence[Change]) -> Rows:
        places = [place(one.look, changes) for one in self.said]
        return cholesky(with_probe(self, places, self._sizes))

    # -- plain data

    def freeze(self) -> dict[str, Any]:
        """The observations and changes as plain data."""
        return {
            "looks": [list(one) for one in self.looks],
            "strengths": self.strengths.freeze(),
            "changes": [one.seconds for one in self.changes if one.kind == "step"],
            "films": [one.seconds for one in self.changes if one.kind == "creep"],
            "apart": list(self.apart),
        }

    def thaw(self, data: dict[str, Any]) -> None:
        """Become what `freeze` wrote."""
        self.looks, self.said, self.lower = [], [], []
        looks = [Look(*one) for one in data["looks"]]
        self.strengths = Strengths()
        if "strengths" in data:
            self.strengths.thaw(data["strengths"])
        else:
            for stand in {one.stand: one for one in looks}.values():
                self.strengths.begin(stand.stand, stand.mass_fraction, None)
        for one in looks:
            self._remember(one)
        self.apart = Apart(*data.get("apart", ()))
        steps = [Change(seconds, "step") for seconds in data["changes"]]
        films = [Change(seconds, "creep") for seconds in data.get("films", ())]
        self.changes = sorted([*steps, *films])


def with_probe(stands: Stands, places: Sequence[Point], sizes: Sizes) -> Rows:
    """The covariances of the observations, which are at these places: the probe's own included, the
    temperature difference found to its thermometer, and what those of one time have in common."""
    rows = [
        [rest + probe_covariance(a, b, sizes) for rest, b in zip(row, places, strict=False)]
        for row, a in zip(stands.lower, places, strict=True)
    ]
    ratio = stands.apart.ratio
    reads = [(word.look, word.look.read_variance(ratio)) for word in stands.said]
    for row, (one, read) in zip(rows, reads, strict=True):
        for number, (other, its_read) in enumerate(reads[: len(row)]):
            if other is not one:
                row[number] += same_reading(one.seconds - other.seconds, read, its_read)
            else:  # By the strength held and by density: one reading of one temperature.
                row[number] += own_variance(0.0, one.apart, ratio)
    return rows


def place(one: Look, changes: Sequence[Change]) -> Point:
    """The point (time, temperature, strength) of an observation."""
    change = change_before(one.seconds, changes)
    return point(one.seconds, one.temperature_c, one.mass_fraction, change)
