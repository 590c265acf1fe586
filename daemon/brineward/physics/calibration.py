"""Calibration of a probe where it works: what hydrometer tests say of its readings.

Each test gives the logarithm of true over read conductivity at one time, temperature and strength.
What is believed of it between and beyond the tests is their best linear estimate under the
covariance of `calibration_prior` (a Gaussian process, with a handful of tests kept), so that the
interval shrinks after a test and widens again as days pass and the brine cools.

Tests have errors too. What they share (the hydrometer's own marks, other salts in its density, and
on one day the person and the glass) does not shrink with their number. A test far from what the
others predict is set aside and widens the interval, since it may be right; the next one, on another
occasion, decides. If that agrees with the others, the odd one was a slip. If it lies on the odd
one's side, the probe has changed (a film, scale, air, a cleaning), and both are believed: its
constant may be different from then on, and may go on moving, as with a growing film.

Observations of standing brine (`stands`) are part of the estimate as well, but judge no test: only
the changes that they have shown are known when the tests are judged.

The estimate is a function of the tests and their times: whenever a test is added, however late, all
are judged again in the order in which they were made.
"""

from collections.abc import Sequence
from typing import Any, Literal

from brineward.physics.calibration_prior import (
    DAY_SECONDS,
    Change,
    ChangeKind,
    Sizes,
    change_before,
    point,
)
from brineward.physics.conductivity import log_conductivity
from brineward.physics.creeping import Film, film_at, film_believed, likeliest_film
from brineward.physics.estimate import Estimate, Factor, Held, MeterError
from brineward.physics.fed import Fed
from brineward.physics.inversion import Isotherm
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.probe_test import ProbeTest, root_sum_of_squares, same_occasion
from brineward.physics.stands import Look, Stands, place

MOST_REMEMBERED = 32
ODD = 3.0
"""A test so many standard deviations from what was expected is set aside."""
AGREES = 2.0
TREND = 1.8
"""Two tests in a row that lie so many on one side, on two occasions, are a drift: by chance it
happens once in four hundred tests, and then costs a little width."""
DOUBT = 0.65
"""A test set aside counts with this share of its distance: the 95 % interval reaches past it."""
DOUBT_MOST = 0.05
"""Up to this (relative): a mark so far off is a slip of the pen."""

Finding = Literal["kept", "odd", "slip", "step"]
"""`kept`: believed. `odd`: set aside, the next one decides. `slip`: set aside, and the next one
agreed with those before. `step`: believed, and with it that the probe has changed."""

PER_KELVIN_OVER = 5.0
"""Percent per degree is measured over so many kelvin: less is lost in a thermometer's noise."""
_CELL_SECONDS = 4.0 * 3600.0
_PER_KELVIN = 2
_PER_LOG = 100
_CELLS = 512


class _Judgement:
    """All tests, judged in the order in which they were made."""

    def __init__(
        self, sizes: Sizes, tests: Sequence[ProbeTest], seen: Sequence[Change] = ()
    ) -> None:
        """`seen` are the changes of the probe that standing brine has shown."""
        self._sizes = sizes
        self.findings: dict[ProbeTest, Finding] = {}
        self.parted: dict[ProbeTest, tuple[float, float]] = {}
        self.kept: list[ProbeTest] = []
        self.odd: list[ProbeTest] = []
        self.changes: list[Change] = list(seen)
        self.estimate = Estimate(sizes, (), seen)
        for test in tests:
            self._take(test)

    def _take(self, test: ProbeTest) -> None:
        if test.cleaned:
            self._change(test.seconds, "cleaned")
            self.odd = []
            self.estimate = Estimate(self._sizes, self.kept, self.changes)
        parting = self.estimate.parting(test)
        expected = self.estimate.expected(test).log_factor
        self.parted[test] = round(test.log_factor - expected, 6), abs(parting)
        if abs(parting) <= ODD and not self.odd:
            if self._is_trend(test, parting):
                self._explain_trend(test)
            else:
                self._keep(test)
        elif not self.odd:
            self._set_aside(test)
        else:
            self._decide(test, parting)

    def _is_trend(self, test: ProbeTest, parting: float) -> bool:
        """Did the one before it, believed as well, lie as far on the same side?"""
        if not self.kept or test.cleaned:
            return False
        last = self.kept[-1]
        _, off = self.parted[last]
        side = self.parted[last][0] * parting
        known = self.findings[last] == "kept" and not last.cleaned
        far = min(off, abs(parting)) >= TREND and side > 0.0
        return known and far and not same_occasion(last, test)

    def _explain_trend(self, test: ProbeTest) -> None:
        """Did a film come at once before the first of the two, or does one grow?"""
        first = self.kept[-1]
        stays = Estimate(self._sizes, [*self.kept, test], self.changes)
        film, by_film = likeliest_film(stays, test.seconds)
        step = Change(min(first.seconds, test.seconds), "step")
        stepped = Estimate(self._sizes, [*self.kept, test], [*self.changes, step])
        if film is not None and by_film > stepped.likelihood() - stays.likelihood():
            self.changes.append(film)
            self._keep(test)
        else:
            self._believe(self.kept.pop(), test, 0.0)

    def _decide(self, test: ProbeTest, parting: float) -> None:
        """One was set aside before: does this one agree with it, or with those before it?"""
        first = self.odd[-1]
        side = self.estimate.parting(first)
        changed = Change(min(first.seconds, test.seconds), "step")
        after = Estimate(self._sizes, [*self.kept, first], [*self.changes, changed])
        by_change = abs(after.parting(test))
        if abs(parting) <= ODD and (abs(parting) <= AGREES or abs(parting) <= by_change):
            self._keep(test)
        elif same_occasion(first, test):
            self._set_aside(test)
        elif by_change <= ODD or side * parting > 0.0:
            self._believe(first, test, by_change)
        else:
            self._set_aside(test)

    def _believe(self, first: ProbeTest, test: ProbeTest, by_change: float) -> None:
        """A second on the same side: the probe has changed, by the first of them at the latest."""
        self._change(min(first.seconds, test.seconds), "step")
        if by_change > ODD:
            # On one side, but far from one another: it has changed again in between.
            self._change(test.seconds, "step")
        for one in self.odd[:-1]:
            self.findings[one] = "slip"
        self.findings[first] = self.findings[test] = "step"
        self.odd = []
        self.kept += [first, test]
        self.estimate = Estimate(self._sizes, self.kept, self.changes)

    def _keep(self, test: ProbeTest) -> None:
        for one in self.odd:
            self.findings[one] = "slip"
        self.findings[test] = "kept"
        self.odd = []
        self.kept.append(test)
        self.estimate = Estimate(self._sizes, self.kept, self.changes)
        film = film_believed(self.estimate, test.seconds)
        if film is not None:
            self.changes.append(film)
            self.estimate = Estimate(self._sizes, self.kept, self.changes)

    def _set_aside(self, test: ProbeTest) -> None:
        self.findings[test] = "odd"
        self.odd = [*self.odd, test]

    def _change(self, seconds: float, kind: ChangeKind) -> None:
        self.changes.append(Change(seconds, kind))


class Calibration:
    """What the tests of one probe say; mutable, but a function of the tests it was given."""

    __slots__ = (
        "_cells",
        "_estimate",
        "_held",
        "_meter",
        "findings",
        "odd",
        "parted",
        "sizes",
        "stands",
        "tests",
    )

    def __init__(self, sizes: Sizes) -> None:
        self.sizes = sizes
        self.stands = Stands(sizes)
        self.tests: list[ProbeTest] = []
        """All that are remembered, in order of time."""
        self._judge()

    def _judge(self) -> None:
        judged = _Judgement(self.sizes, self.tests, self.seen_changes())
        self.findings = judged.findings
        """What became of each."""
        self.parted = judged.parted
        """How far each lay from what the earlier ones predicted; and in standard deviations."""
        self.odd = judged.odd
        """Set aside last, until a later test has decided."""
        self._estimate = self._with_looks(judged.kept, judged.changes)
        self._cells: dict[tuple[int, int, int], Factor] = {}
        self._held: dict[tuple[float | Fed, int, int], Held | None] = {}
        self._meter: dict[tuple[float | None, int, int, float], MeterError] = {}

    def _with_looks(self, kept: Sequence[ProbeTest], changes: Sequence[Change]) -> Estimate:
        return Estimate(self.sizes, kept, changes, self.stands)

    def seen_changes(self) -> list[Change]:
        """Those that standing brine has shown, without cleanings, which a test has reported."""
        cleaned = [test.seconds for test in self.tests if test.cleaned]
        return [
            one
            for one in self.stands.changes
            if not any(abs(one.seconds - at) <= DAY_SECONDS for at in cleaned)
        ]

    def look(self, found: Look, fed: Fed | None = None) -> Change | None:
        """Add an observation of the probe in standing brine; the change of the probe that it shows.

        `fed` is what came into the tank before it stood, where that is known.
        """
        before = len(self.stands.changes)
        change = self.stands.take(found, fed)
        if change is not None or len(self.stands.changes) != before:
            self._judge()
        else:
            self._estimate = self._with_looks(self.kept, self.changes)
            self._cells, self._held, self._meter = {}, {}, {}
        film = film_believed(self._estimate, found.seconds)
        if film is not None:
            self.stands.believe(film)
            self._judge()
        return change

    def told_by_looks(self) -> list[tuple[Look, float]]:
        """The observations of standing brine, and what each says about the factor's logarithm."""
        return self._estimate.told_by_looks()

    def film(self) -> Film | None:
        """The film growing on the probe at its last test or observation; None if none is seen."""
        places = [(one.seconds, one.temperature_c, one.mass_fraction) for one in self.kept]
        places += [(one.seconds, one.temperature_c, one.mass_fraction) for one in self.stands.looks]
        return film_at(self._estimate, *max(places)) if places else None

    @property
    def kept(self) -> tuple[ProbeTest, ...]:
        """The tests that the estimate uses, in order of time."""
        return self._estimate.tests

    @property
    def changes(self) -> tuple[Change, ...]:
        """When the probe changed, and how."""
        return self._estimate.changes

    def observe(self, test: ProbeTest) -> Finding:
        """Take a test, and go through all of them again; what became of this one?

        One that is older than all of the `MOST_REMEMBERED` newest is forgotten at once.
        """
        self.tests = sorted([*self.tests, test])[-MOST_REMEMBERED:]
        self._judge()
        return self.findings.get(test, "slip")

    def expected(self, test: ProbeTest) -> Factor:
        """The factor that the tests kept predict where another test was made."""
        return self._estimate.expected(test)

    def oddness(self, test: ProbeTest) -> float:
        """How many standard deviations a test lies from what the others predict."""
        return abs(self._estimate.parting(test))

    def factor(self, seconds: float, temperature_c: float, log_read: float) -> Factor:
        """The factor of a reading; one value for four hours, half a kelvin and percent.

        Temperature -25 to 40 degC; `log_read` is ln of the conductivity read, S/m.
        """
        cell = (
            int(seconds // _CELL_SECONDS),
            round(temperature_c * _PER_KELVIN),
            round(log_read * _PER_LOG),
        )
        found = self._cells.get(cell)
        if found is None:
            if len(self._cells) >= _CELLS:
                self._cells.clear()
            found = self._cells[cell] = self._in_cell(*cell)
        return found

    def factor_at(self, seconds: float, temperature_c: float, mass_fraction: float) -> Factor:
        """The factor for brine of a known strength; -25 to 40 degC, above 0 to 0.27."""
        change = change_before(seconds, self.changes)
        found = self._estimate.at(point(seconds, temperature_c, mass_fraction, change))
        spread = root_sum_of_squares(found.standard_uncertainty, self.doubt())
        return Factor(found.log_factor, spread)

    def per_kelvin(self, seconds: float, temperature_c: float, mass_fraction: float) -> Factor:
        """What ln(conductivity) as this probe reads it gains per kelvin there, and how well that is
        known: the curve's, and what tests and standing brine have shown beside it.

        Temperature -20 to 37 degC, mass fraction above 0 to 0.27.
        """
        change, half = change_before(seconds, self.changes), PER_KELVIN_OVER / 2.0
        a = point(seconds, temperature_c - half, mass_fraction, change)
        b = point(seconds, temperature_c + half, mass_fraction, change)
        found = self._estimate.change(a, b)
        curve = log_conductivity(mass_fraction, b.temperature_c)
        curve -= log_conductivity(mass_fraction, a.temperature_c)
        return Factor(
            round((curve - found.log_factor) / PER_KELVIN_OVER, 8),
            round(found.standard_uncertainty / PER_KELVIN_OVER, 8),
        )

    def _in_cell(self, hours: int, half: int, log_step: int) -> Factor:
        # The four hours' end, so that a test counts for the rest of its own.
        seconds, temperature_c = (hours + 1) * _CELL_SECONDS, half / _PER_KELVIN
        log_read, change = log_step / _PER_LOG, change_before(seconds, self.changes)
        rough = _rough_mass_fraction(log_read, temperature_c)
        first = self._estimate.mean_at(point(seconds, temperature_c, rough, change))
        rough = _rough_mass_fraction(log_read + first, temperature_c)
        found = self.factor_at(seconds, temperature_c, rough)
        return Factor(round(found.log_factor, 6), round(found.standard_uncertainty, 6))

    def shifted_since(self, change: Change) -> float:
        """How much more the probe reads at its last observation than before a change, relative."""
        last = self.stands.looks[-1]
        before = [one for one in self.changes if one.seconds < change.seconds]
        was = self._estimate.at(place(last, before)).log_factor
        now = self._estimate.at(place(last, self.changes)).log_factor
        return round(was - now, 6)

    def held(self, stand: float, seconds: float, temperature_c: float) -> Held | None:
        """The strength of the standing period that began then, by tests and observations, or None.

        One value for four hours and half a kelvin.
        """
        cell = (stand, int(seconds // _CELL_SECONDS), round(temperature_c * _PER_KELVIN))
        if cell not in self._held:
            if len(self._held) >= _CELLS:
                self._held.clear()
            self._held[cell] = self._hold(stand, (cell[1] + 1) * _CELL_SECONDS, cell[2])
        return self._held[cell]

    def held_after(self, fed: Fed, seconds: float, temperature_c: float) -> Held | None:
        """The strength of a tank into which something came since it stood, by tests and
        observations; None if that standing period was not observed.

        One value for four hours, half a kelvin and hundredth of the tank.
        """
        cell = (
            fed._replace(share=round(fed.share, 2)),
            int(seconds // _CELL_SECONDS),
            round(temperature_c * _PER_KELVIN),
        )
        if cell not in self._held:
            if len(self._held) >= _CELLS:
                self._held.clear()
            self._held[cell] = self._hold(cell[0], (cell[1] + 1) * _CELL_SECONDS, cell[2])
        return self._held[cell]

    def _hold(self, stood: float | Fed, seconds: float, half: int) -> Held | None:
        looks = self.stands.looks
        if not looks:
            return None
        change = change_before(seconds, self.changes)
        about = looks[-1].mass_fraction
        there = point(seconds, half / _PER_KELVIN, about, change)
        if isinstance(stood, Fed):
            held = self._estimate.held_after(stood, there)
        else:
            held = self._estimate.held(stood, there)
        if held is None or not self.odd:
            return held
        # A test that was set aside may be right: then what is held is wrong with the factor.
        doubt = self.doubt()
        spread = root_sum_of_squares(held.standard_uncertainty, doubt)
        return held._replace(
            standard_uncertainty=round(spread, 7),
            with_factor=round(held.with_factor + doubt * doubt, 12),
        )

    def meter_error(
        self, stand: float | None, seconds: float, temperature_c: float, lasting: float
    ) -> MeterError | None:
        """The density meter's own error; None until an observation has compared the two.

        `lasting` is the standard uncertainty that its readings have in common, as a mass fraction.
        One value for four hours and half a kelvin.
        """
        if not any(one.dense for one in self.stands.said):
            return None
        hours, half = int(seconds // _CELL_SECONDS), round(temperature_c * _PER_KELVIN)
        cell = (stand, hours, half, lasting)
        found = self._meter.get(cell)
        if found is None:
            if len(self._meter) >= _CELLS:
                self._meter.clear()
            when = (hours + 1) * _CELL_SECONDS
            change, about = change_before(when, self.changes), self.stands.looks[-1].mass_fraction
            there = point(when, half / _PER_KELVIN, about, change)
            found = self._meter[cell] = self._estimate.meter_error(there, stand, lasting)
        return found

    def doubt(self) -> float:
        """What a test that was set aside adds to the factor's uncertainty: it may be right."""
        if not self.odd:
            return 0.0
        last = self.odd[-1]
        expected = self.expected(last).log_factor
        return min(DOUBT * abs(last.log_factor - expected), DOUBT_MOST)

    # -- plain data

    def freeze(self) -> dict[str, Any]:
        """The calibration as plain data: the tests, since all else follows from them."""
        return {"tests": [list(test) for test in self.tests], "stands": self.stands.freeze()}

    def thaw(self, data: dict[str, Any] | list[Any]) -> None:
        """Become what `freeze` wrote, or what an older version did: kept, set aside, steps."""
        if isinstance(data, dict):
            self.tests = [ProbeTest(*test) for test in data["tests"]]
            self.stands.thaw(data.get("stands", {"looks": [], "changes": []}))
        else:
            kept, odd, steps = data
            tests = [ProbeTest(*test) for test in [*kept, *odd]]
            self.tests = sorted(one._replace(cleaned=one.seconds in steps) for one in tests)
        self._judge()


def _rough_mass_fraction(log_conductivity: float, temperature_c: float) -> float:
    """The strength that a conductivity gives, between the lines."""
    liquid = max(temperature_c, EUTECTIC_C)
    isotherm = Isotherm(liquid, most_liquid(liquid))
    found = isotherm.mass_fraction(min(log_conductivity, isotherm.most_log))
    return max(found, least_liquid(liquid), 1e-4)
