"""Calibration of a probe where it works: what hydrometer tests say of its readings.

Each test gives the logarithm of true over read conductivity at one time, temperature and strength.
What is believed of it between and beyond the tests is their best linear estimate under the
covariance of `calibration_prior` (a Gaussian process, with a handful of tests kept), so that the
interval shrinks after a test and widens again as days pass and the brine cools.

Which tests are believed, `judgement` says.

Observations of standing brine (`stands`) are part of the estimate as well, but judge no test: only
the changes that they have shown are known when the tests are judged.

The estimate is a function of the tests and their times: whenever a test is added, however late, all
are judged again in the order in which they were made.
"""

from collections.abc import Sequence
from operator import attrgetter
from typing import Any

from brineward.physics.calibration_prior import (
    DAY_SECONDS,
    Change,
    Sizes,
    change_before,
    point,
)
from brineward.physics.conductivity import log_conductivity
from brineward.physics.creeping import (
    CREEPS_FROM,
    SUSPECTED_FROM,
    Film,
    Suspicion,
    film_at,
    likeliest_film,
    mixed,
    mixed_held,
    probability_of,
)
from brineward.physics.doubt import DOUBTED, by_odd, by_slip
from brineward.physics.estimate import Estimate, Factor, Held, MeterError
from brineward.physics.fed import Fed
from brineward.physics.inversion import liquid_mass_fraction
from brineward.physics.judgement import Believed, Finding, Judgement
from brineward.physics.probe_test import ProbeTest, root_sum_of_squares, same_occasion
from brineward.physics.stands import Look, Stands, place

MOST_REMEMBERED = 32

PER_KELVIN_OVER = 5.0
"""Percent per degree is measured over so many kelvin: less is lost in a thermometer's noise."""
_CELL_SECONDS = 4.0 * 3600.0
_PER_KELVIN = 2
_PER_LOG = 100
_CELLS = 512


class Calibration:
    """What the tests of one probe say; mutable, but a function of the tests it was given."""

    __slots__ = (
        "_after",
        "_cells",
        "_estimate",
        "_held",
        "_lent",
        "_meter",
        "_slip",
        "_suspicion",
        "_without_newest",
        "believed",
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
        self.believed: dict[float, float] = {}
        """When each growing film was believed, by when it began; seconds."""
        self._judge()

    def _judge(self) -> None:
        judged = Judgement(self.sizes, self.tests, self.seen_changes())
        self.findings = judged.findings
        """What became of each."""
        self.parted = judged.parted
        """How far each lay from what the earlier ones predicted; and in standard deviations."""
        self.odd = judged.odd
        """Set aside last, until a later test has decided."""
        self._after = judged.after
        self._without_newest: Believed | None = None
        self._estimate = self._with_looks(judged.kept, judged.changes)
        film, likelier = self._likeliest_film()
        self._suspicion = self._suspected(film, likelier)
        self._cells: dict[tuple[int, int, int], Factor] = {}
        self._held: dict[tuple[float | Fed, int, int], Held | None] = {}
        self._meter: dict[tuple[float | None, int, int, float], MeterError] = {}
        self._lent: dict[tuple[int, int, int], float] = {}
        self._slip: float | None = None

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
            self._cells, self._held, self._meter, self._lent = {}, {}, {}, {}
            self._slip = None
        self._look_for_film(found.seconds)
        return change

    def _look_for_film(self, seconds: float) -> None:
        film, likelier = self._likeliest_film()
        if film is not None and likelier > CREEPS_FROM:
            self.stands.believe(film)
            kept = {one.seconds for one in self.stands.changes}
            self.believed = {one: at for one, at in self.believed.items() if one in kept}
            self.believed[film.seconds] = seconds
            self._judge()
        else:
            self._suspicion = self._suspected(film, likelier)

    def _likeliest_film(self) -> tuple[Change | None, float]:
        """As seen from the last test or observation."""
        seen = [one.seconds for one in self.kept] + [one.seconds for one in self.stands.looks]
        return likeliest_film(self._estimate, max(seen, default=0.0))

    def _suspected(self, film: Change | None, likelier: float) -> Suspicion | None:
        """A film that is not believed yet, but too probable to be left out."""
        probability = probability_of(likelier)
        if film is None or probability < SUSPECTED_FROM:
            return None
        return Suspicion(probability, self._with_looks(self.kept, [*self.changes, film]))

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

        One that is older than all of the `MOST_REMEMBERED` newest is forgotten at once. One of the
        same time and strength as another is that test entered again: the more certain of the two
        counts, so that no test is its own witness.
        """
        known = test.seconds, test.mass_fraction
        same = [one for one in self.tests if (one.seconds, one.mass_fraction) == known]
        again = [test, *same]
        test = min(again, key=attrgetter("own"))
        test = test._replace(cleaned=any(one.cleaned for one in again))
        others = [one for one in self.tests if one not in same]
        self.tests = sorted([*others, test])[-MOST_REMEMBERED:]
        self._judge()
        return self.findings.get(test, "slip")

    def strike(self, seconds: float, mass_fraction: float) -> None:
        """Take back the test of this time that showed this strength, to a millionth, and go through
        all again as if it had never been made.

        A film that may have been believed by it is looked for again, by what is left.
        """
        struck = seconds, mass_fraction
        shown = ((one, (one.seconds, round(one.mass_fraction, 6))) for one in self.tests)
        self.tests = [one for one, key in shown if key != struck]
        doubted = {began for began, at in self.believed.items() if at >= seconds}
        stands = self.stands
        stands.changes = [
            one for one in stands.changes if one.kind != "creep" or one.seconds not in doubted
        ]
        self.believed = {one: at for one, at in self.believed.items() if one not in doubted}
        self._judge()
        if doubted and stands.looks:
            self._look_for_film(stands.looks[-1].seconds)

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
        found = self._estimate.factor(seconds, temperature_c, mass_fraction)
        if self._suspicion is not None:
            with_film = self._suspicion.estimate.factor(seconds, temperature_c, mass_fraction)
            found = mixed(found, with_film, self._suspicion.probability)
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
        rough = liquid_mass_fraction(log_read, temperature_c)
        first = self._estimate.mean_at(point(seconds, temperature_c, rough, change))
        rough = liquid_mass_fraction(log_read + first, temperature_c)
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
        if not self.stands.looks:
            return None
        held, factor = self._held_by(self._estimate, stood, seconds, half)
        if held is not None and self._suspicion is not None:
            other, its_factor = self._held_by(self._suspicion.estimate, stood, seconds, half)
            if other is not None:
                probability = self._suspicion.probability
                held = mixed_held(held, other, probability, its_factor - factor)
        doubt = self.doubt()
        if held is None or not doubt:
            return held
        # If the newest test is not what it is taken for, what is held is wrong with the factor.
        spread = root_sum_of_squares(held.standard_uncertainty, doubt)
        return held._replace(
            standard_uncertainty=round(spread, 7),
            with_factor=round(held.with_factor + doubt * doubt, 12),
        )

    def _held_by(
        self, estimate: Estimate, stood: float | Fed, seconds: float, half: int
    ) -> tuple[Held | None, float]:
        """The strength that one estimate holds, and its factor's logarithm there."""
        change = change_before(seconds, estimate.changes)
        about = self.stands.looks[-1].mass_fraction
        there = point(seconds, half / _PER_KELVIN, about, change)
        if isinstance(stood, Fed):
            held = estimate.held_after(stood, there)
        else:
            held = estimate.held(stood, there)
        return held, estimate.mean_at(there)

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
        """What the newest test adds to the factor's uncertainty, until a later one decides: set
        aside, it may be right; believed, it may be a slip.
        """
        if self.odd:
            last = self.odd[-1]
            return by_odd(last.log_factor - self.expected(last).log_factor)
        if self._slip is None:
            newest = self._unconfirmed()
            self._slip = by_slip(newest, self._estimate, self._without(newest)) if newest else 0.0
        return self._slip

    def _without(self, newest: Sequence[ProbeTest]) -> Estimate:
        if self._without_newest is None:
            count = len(self.tests) - len(newest)
            self._without_newest = self._after[count]
            if self.tests[count:] != list(newest):  # one that is not believed lies between them
                before = [one for one in self.tests if one not in newest]
                self._without_newest = Judgement(self.sizes, before, self.seen_changes()).after[-1]
        return self._with_looks(*self._without_newest)

    def doubted(self) -> list[ProbeTest]:
        """The newest test, with others of the same occasion, if it is believed but was far from
        what those before it predicted, and no later one has borne it out; else empty."""
        newest = self._unconfirmed()
        far = max((self.parted[one][1] for one in newest), default=0.0) >= DOUBTED
        return newest if far else []

    def _unconfirmed(self) -> list[ProbeTest]:
        """The newest test, with others of its occasion, if it is believed and is not the first."""
        kept = self.kept
        newest = [one for one in kept if kept and same_occasion(one, kept[-1])]
        alone = all(self.findings[one] == "kept" and not one.cleaned for one in newest)
        return newest if alone and len(newest) < len(kept) else []

    def lent(self, seconds: float, temperature_c: float, mass_fraction: float) -> float:
        """How much higher ln(conductivity) is taken to be by the doubted test alone; 0: none is.

        Temperature -25 to 40 degC, mass fraction above 0 to 0.27. One value for four hours, half a
        kelvin and a hundredth of salt.
        """
        doubted = self.doubted()
        if not doubted:
            return 0.0
        hours, half = int(seconds // _CELL_SECONDS), round(temperature_c * _PER_KELVIN)
        cell = hours, half, round(mass_fraction * _PER_LOG)
        if cell not in self._lent:
            if len(self._lent) >= _CELLS:
                self._lent.clear()
            without = self._without(doubted)
            when, celsius, about = (
                (hours + 1) * _CELL_SECONDS,
                half / _PER_KELVIN,
                cell[2] / _PER_LOG,
            )
            with_it, without_it = (
                one.mean_at(point(when, celsius, about, change_before(when, one.changes)))
                for one in (self._estimate, without)
            )
            self._lent[cell] = round(with_it - without_it, 6)
        return self._lent[cell]

    # -- plain data

    def freeze(self) -> dict[str, Any]:
        """The calibration as plain data: the tests, since all else follows from them."""
        return {
            "tests": [list(test) for test in self.tests],
            "stands": self.stands.freeze(),
            "believed": sorted(self.believed.items()),
        }

    def thaw(self, data: dict[str, Any] | list[Any]) -> None:
        """Become what `freeze` wrote, or what an older version did: kept, set aside, steps."""
        if isinstance(data, dict):
            self.tests = [ProbeTest(*test) for test in data["tests"]]
            self.stands.thaw(data.get("stands", {"looks": [], "changes": []}))
            self.believed = dict(data.get("believed", ()))
        else:
            kept, odd, steps = data
            tests = [ProbeTest(*test) for test in [*kept, *odd]]
            self.tests = sorted(one._replace(cleaned=one.seconds in steps) for one in tests)
        self._judge()
