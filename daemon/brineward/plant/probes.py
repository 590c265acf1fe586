"""One probe with its thermometer: what it read lately, its tests, and what they show."""

from collections.abc import Callable, Sequence
from math import exp, inf, log, sqrt
from typing import Any, cast

from brineward.physics.calibrated import Word, calibrated_word
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, IMPURITY, sizes_of
from brineward.physics.conductivity import (
    COLDEST_C,
    WARMEST_C,
    conductivity,
    slope_in_mass_fraction,
)
from brineward.physics.creeping import Film
from brineward.physics.fed import Fed
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.probe_test import probe_test, root_sum_of_squares
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import COVERAGE, Salinity, salinity
from brineward.physics.slips import Mark, MarkKind, Slip, Told, likely_slip
from brineward.physics.stands import Dense, look
from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.read_lately import ReadLately
from brineward.plant.recorded_test import (
    WEAKEST_TESTED,
    RecordedTest,
    StruckRecord,
    disagreement_of,
    last_paired,
    question_of,
    recorded,
    with_record,
)
from brineward.plant.sensors import Cover, SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.entries import HandTest, StruckTest
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Derived, Output

AGED = 0.03
"""What a film and wear may have done to a probe in a year without a test, relative (common
practice, no source); it grows with the square root of time."""
FIELD_PROBE, FIELD_THERMOMETER_K = 0.01, 0.2
"""No probe and no thermometer stays more accurate than this for long in brine, whatever its data
sheet says (common practice, no source): so a test is not trusted for ever."""
SHIFT_FROM = 0.01
"""A shift of the probe that standing brine shows is reported from this on (relative): 0.7 % of salt
(common practice, no source)."""
GROWS_FROM = 0.005
"""A film is reported while it takes this share of the reading a month, or more (common practice, no
source)."""
LIQUID_FOR_SURE = 0.003
"""Mass fraction: closer to ice or saturation, standing brine may change by what crystallises."""
RECORDS_KEPT = 50
_TEMPERATURE_C = 10.0  # where a probe's uncertainty in S/m is turned into a relative one


class Probe(Tracker):
    """A conductivity probe in a vessel of sodium chloride brine: a tracker of its tests."""

    lasting = True

    def __init__(
        self,
        vessel: str,
        sensor: SensorTracker,
        thermometer: SensorTracker,
        *,
        target: float,
        level: LevelTracker | None = None,
    ) -> None:
        self.vessel = vessel
        self.name = f"probe/{vessel}"
        self.takes = {sensor.plan.id: self._take}
        self.sensor = sensor
        self.thermometer = thermometer
        self.level = level
        self._cover = None if level is None else Cover(level.sensor, sensor.plan.mounted_m)
        self.probe_uncertainty = sensor.plan.standard_uncertainty
        self.thermometer_uncertainty = thermometer.plan.standard_uncertainty
        usual = conductivity(target, _TEMPERATURE_C)
        self.calibration = Calibration(
            sizes_of(
                max(self.probe_uncertainty / usual, FIELD_PROBE),
                max(self.thermometer_uncertainty, FIELD_THERMOMETER_K),
                sensor.plan.apart_k,
            )
        )
        self._first: Instant = 0
        """When it first reported; 0 for never."""
        self._since: Instant = 0
        """When it first reported, or was last cleaned; 0 for never."""
        self.stand: float | None = None
        """Seconds at which the brine that it is in came to rest; None while that moves."""
        self.came: Fed | None = None
        """What came into the tank since it was last at rest; None if that isn't known."""
        self.stepped = 0.0
        """How much the strength shown has changed in steps since the tank was last observed at rest
        (`SuddenStep`); a mass fraction."""
        self.stepped_at: Instant = 0
        """When it last did; 0 for never."""
        self.shifted = 0.0
        """How much more it reads than at its last test, relative, as standing brine has shown."""
        self.film: Film | None = None
        """The film that grows over it, as tests and standing brine have shown together."""
        self.density: Callable[[Instant, float, float], tuple[Salinity, Dense] | None] | None = None
        """The strength by density beside it, if that is measured (`SecondWitness.told`)."""
        self.records: list[RecordedTest] = []
        self.struck: list[StruckRecord] = []
        """The tests that were struck, in the order in which they were."""
        self._lately = ReadLately(max(sensor.plan.every_seconds, thermometer.plan.every_seconds))

    def covered(self) -> bool | None:
        """Is it under the surface? None where the level isn't known."""
        return None if self._cover is None else self._cover.covered()

    def in_standing_brine(self, now: Instant) -> bool:
        """Does it read what a sample would? If no level shows it, the tester must make sure."""
        if self.level is None:
            return True
        return bool(self.covered()) and bool(self.level.settled(now))

    def _take(self, time: Instant, read_s_per_m: float) -> Sequence[Output]:
        thermometer = self.thermometer
        if not thermometer.fresh(time) or not self.in_standing_brine(time):
            return ()
        if thermometer.value is not None:
            self.note(time, read_s_per_m, thermometer.value)
        return ()

    @property
    def calibrated(self) -> bool:
        """Is there a test that it is calibrated by?"""
        return bool(self.calibration.kept)

    @property
    def tested_at(self) -> Instant:
        """When the newest of its tests was made; 0 for never."""
        return self.records[-1].at if self.records else 0

    @property
    def lessons(self) -> Instant:
        """Another one after each newer test, and each that is struck: strengths from before it
        were computed otherwise."""
        return self.tested_at + len(self.struck)

    @property
    def looked_at(self) -> float | None:
        """When it was last looked at in standing brine, seconds; None for never."""
        looks = self.calibration.stands.looks
        return looks[-1].seconds if looks else None

    def strength(
        self, time: Instant, read_s_per_m: float, read_c: float, *, holding: bool = True
    ) -> Salinity:
        """The strength from a reading, corrected by what the tests have shown.

        In standing brine it is weighed with what was seen there before, unless not `holding`.
        Raises: NotBrine.
        """
        return self.word(time, read_s_per_m, read_c, holding=holding).salinity

    def word(
        self, time: Instant, read_s_per_m: float, read_c: float, *, holding: bool = True
    ) -> Word:
        """As `strength`, with the weight in it of the standing brine's strength."""
        if not self.calibration.kept:
            return Word(self._untested(time, read_s_per_m, read_c), 0.0)
        return calibrated_word(
            self.calibration,
            read_s_per_m,
            read_c,
            seconds=time / SECOND,
            conductivity_standard_uncertainty=self.probe_uncertainty,
            temperature_standard_uncertainty=self.thermometer_uncertainty,
            apart_standard_uncertainty_k=self.sensor.plan.apart_k,
            stand=self.stand if holding else None,
            fed=self._reckoned_from(time) if holding else None,
        )

    def _reckoned_from(self, time: Instant) -> Fed | None:
        """What came in, if the strength may be computed from it: not while it still comes in, since
        the probe's own reading is watched then; nor beside a density meter, since the errors that
        it shares with a strength so computed are not known."""
        came = self.came
        if came is None or self.density is not None or self.stand is not None:
            return None
        return came if self.in_standing_brine(time) else None

    def look(self, now: Instant, stand: float, fed: Fed | None = None) -> bool:
        """Observe it in brine that has stood since `stand`, seconds, and has kept its strength.

        `fed` is what came in since the period before. False if there was nothing to observe.
        """
        said = self._lately.in_the_last_hour(now)
        if said is None:
            return False
        read, read_c = said
        about = self._about(now, stand, read, read_c)
        if about is None:
            return False
        density = self.density
        told = density and density(now, read_c, self.thermometer_uncertainty)
        self.calibration.look(
            look(
                about,
                seconds=now / SECOND,
                stand=stand,
                conductivity_s_per_m=read,
                temperature_c=read_c,
                conductivity_standard_uncertainty=self.probe_uncertainty,
                temperature_standard_uncertainty=self.thermometer_uncertainty,
                apart_standard_uncertainty_k=self.sensor.plan.apart_k,
                by_density=told[1] if told and told[1].mass_fraction > LIQUID_FOR_SURE else None,
            ),
            fed,
        )
        self._look_for_shift()
        return True

    def _about(self, now: Instant, stand: float, read: float, read_c: float) -> float | None:
        """The approximate strength of a period; None if ice or salt may have crystallised."""
        looks = self.calibration.stands.looks
        if looks and looks[-1].stand == stand:
            about = looks[-1].mass_fraction
        else:
            try:
                about = self.strength(now, read, read_c, holding=False).mass_fraction
            except NotBrine:
                return None
        if not (
            -20.0 < read_c < 40.0
            and least_liquid(read_c) + LIQUID_FOR_SURE
            < about
            < most_liquid(read_c) - LIQUID_FOR_SURE
        ):
            return None
        return about

    def _look_for_shift(self) -> None:
        """What has standing brine shown of the probe since its last test?"""
        last = last_paired(self.records)
        since = -inf if last is None else last.at / SECOND
        changes = self.calibration.seen_changes()
        steps = [one for one in changes if one.kind == "step" and one.seconds > since]
        seen = next(iter(steps), None)
        self.shifted = 0.0 if seen is None else self.calibration.shifted_since(seen)
        self.film = self.calibration.film()

    def _untested(self, time: Instant, read_s_per_m: float, read_c: float) -> Salinity:
        """By the data sheet while the probe is new or clean; less certain the longer that is ago.

        The interval also includes a first test that is far from what physics predicts.
        """
        days = max(time - self._since, 0) / SECOND / DAY_SECONDS if self._since else 0.0
        unknown = root_sum_of_squares(AGED * sqrt(days / 365.0), self.calibration.doubt())
        return salinity(
            read_s_per_m,
            read_c,
            conductivity_standard_uncertainty=self.probe_uncertainty,
            temperature_standard_uncertainty=max(self.thermometer_uncertainty, FIELD_THERMOMETER_K),
            lag_standard_uncertainty_c=self.sensor.plan.apart_k,
            calibration_standard_uncertainty=round(unknown, 4),
            impurity_standard_uncertainty=IMPURITY,
        )

    def note(self, time: Instant, read_s_per_m: float, read_c: float) -> None:
        """Remember a reading of covered, settled brine, for a test that may be entered later."""
        if read_s_per_m <= 0.0:
            return
        self._first = self._first or time
        self._since = self._since or time
        self._lately.note(time, read_s_per_m, read_c)

    def said_at(self, at: Instant) -> tuple[float, float] | None:
        """The mean conductivity and temperature about an instant; None where it read too little."""
        return self._lately.at(at)

    def learn(self, test: HandTest) -> RecordedTest:
        """Take a test: compare it with what the probe read then, and learn from it."""
        said = self.said_at(test.at) if test.mass_fraction >= WEAKEST_TESTED else None
        if said is None or not COLDEST_C <= said[1] <= WARMEST_C:
            record = recorded(test, "unpaired", None, None)
        else:
            slip = self.slip_in(test, said[1])
            compared = probe_test(
                test.mass_fraction,
                test.standard_uncertainty,
                seconds=test.at / SECOND,
                conductivity_s_per_m=said[0],
                temperature_c=said[1],
                conductivity_standard_uncertainty=self.probe_uncertainty,
                temperature_standard_uncertainty=self.thermometer_uncertainty,
                apart_standard_uncertainty_k=self.sensor.plan.apart_k,
                doubt=0.0 if slip is None else slip.off,
                cleaned=test.cleaned,
            )
            finding = self.calibration.observe(compared)
            parted, oddness = self.calibration.parted.get(compared, (0.0, 0.0))
            rounded = round(said[0], 6), round(said[1], 3)
            record = recorded(test, finding, rounded, (compared.log_factor, parted))
            record = record._replace(oddness=oddness, slip="" if slip is None else slip.kind)
        if test.cleaned:
            self._since = max(self._since, test.at)
        self.records = with_record(self.records, record)[-RECORDS_KEPT:]
        self._look_again()
        return next((one for one in self.records if one[:2] == record[:2]), record)

    def strike(self, strike: StruckTest) -> bool:
        """Take a test back: what is believed is as if it had never been entered.

        False if there is no such test (any more).
        """
        key = strike.at, strike.mass_fraction
        found = next((one for one in self.records if one[:2] == key), None)
        if found is None:
            return False
        self.records.remove(found)
        record = StruckRecord(found, strike.time, strike.by, strike.why)
        self.struck = [*self.struck, record][-RECORDS_KEPT:]
        self.calibration.strike(strike.at / SECOND, strike.mass_fraction)
        if found.cleaned:
            cleaned = [one.at for one in self.records if one.cleaned]
            self._since = max([self._first, *cleaned])
        self._look_again()
        return True

    def slip_in(self, test: HandTest, tank_c: float) -> Slip | None:
        """The likely slip in a test, by the temperature of the tank then, degC."""
        if test.sure or not test.kind:
            return None
        mark = Mark(cast("MarkKind", test.kind), test.mark, test.sample_c, test.scale)
        shown = Told(test.mass_fraction, test.standard_uncertainty)
        return likely_slip(mark, shown, tank_c)

    def _look_again(self) -> None:
        """A later test, or one entered late, may have settled what became of earlier ones."""
        self._look_for_shift()
        tests = {(one.seconds, round(one.mass_fraction, 6)): one for one in self.calibration.tests}
        for number, record in enumerate(self.records):
            test = tests.get((record.at / SECOND, record.mass_fraction))
            if test is not None:
                parted, oddness = self.calibration.parted[test]
                self.records[number] = record._replace(
                    finding=self.calibration.findings[test], parted=parted, oddness=oddness
                )

    def factor(self, depot: str, now: Instant) -> Derived | None:
        """What the probe's readings are multiplied by where it was tested last."""
        last = last_paired(self.records)
        if last is None or last.temperature_c is None or last.conductivity_s_per_m is None:
            return None
        found = self.calibration.factor(
            last.at / SECOND, last.temperature_c, log(last.conductivity_s_per_m)
        )
        return Derived(
            time=now,
            depot=depot,
            name=f"{self.vessel}-probe-factor",
            value=round(exp(found.log_factor), 6),
            standard_uncertainty=round(found.standard_uncertainty, 6),
            low_95=round(exp(found.log_factor - COVERAGE * found.standard_uncertainty), 6),
            high_95=round(exp(found.log_factor + COVERAGE * found.standard_uncertainty), 6),
            calibrated=self.calibrated,
        )

    def by_last_test(self, now: Instant, mass_fraction: float) -> float:
        """How much stronger brine of about this strength is shown by the last test alone, which no
        other bears out; below 0: weaker; 0 where there is no such test. Mass fractions.
        """
        celsius, about = self.thermometer.value, min(max(mass_fraction, 0.01), 0.26)
        if celsius is None or not COLDEST_C <= celsius <= WARMEST_C:
            return 0.0
        lent = self.calibration.lent(now / SECOND, celsius, about)
        return round(lent / slope_in_mass_fraction(about, celsius), 6) if lent else 0.0

    def by_set_aside(self) -> float:
        """How much stronger the brine is by the last test, if that was set aside; below 0: weaker;
        0 where it was not. A mass fraction.
        """
        last = last_paired(self.records)
        return (last.salt_parted or 0.0) if last is not None and last.finding == "odd" else 0.0

    def question(self, *, odd_from: float = 0.0) -> str:
        """What somebody should check after the last test; empty if all is well.

        An odd test is asked about from `odd_from` standard deviations on, and then a step also
        only if it is worth a text.
        """
        if abs(self.shifted) >= SHIFT_FROM:
            reads = "higher" if self.shifted > 0 else "lower"
            return f"probe reads {abs(self.shifted) * 100:.1f} % {reads} with nothing added"
        if self.film is not None and self.film.per_month >= GROWS_FROM:
            return f"film grows on the probe, {self.film.per_month * 100:.1f} % a month"
        return question_of(self.records, odd_from)

    def disagreement(self) -> str:
        """How far the last test and what was to be expected of it are apart; empty if unknown."""
        return disagreement_of(self.records)

    def snapshot(self) -> list[Any]:
        """The probe as plain data."""
        return [
            {
                **self.calibration.freeze(),
                "since": self._since,
                "first": self._first,
                "struck": [[list(one.test), *one[1:]] for one in self.struck],
            },
            [list(record) for record in self.records],
            self._lately.snapshot(),
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        calibration, records, stretches = data
        self.calibration.thaw(calibration)
        kept = calibration if isinstance(calibration, dict) else {}
        self._since = kept.get("since", 0)
        self._first = kept.get("first", self._since)  # older snapshots have none
        struck = kept.get("struck", ())
        self.struck = [StruckRecord(RecordedTest(*test), *more) for test, *more in struck]
        self.records = [RecordedTest(*record) for record in records]
        self._lately.restore(stretches)
        self._look_for_shift()


def probes_of(
    plan: DepotPlan, sensors: dict[str, SensorTracker], levels: dict[str, LevelTracker]
) -> list[Probe]:
    """The probe of each vessel that has one beside a thermometer."""
    found = []
    for vessel in plan.vessels:
        probe = plan.sensor_of(Measure.CONDUCTIVITY, vessel)
        thermometer = plan.sensor_of(Measure.TEMPERATURE, vessel)
        if probe is not None and thermometer is not None:
            found.append(
                Probe(
                    vessel,
                    sensors[probe.id],
                    sensors[thermometer.id],
                    target=plan.strength.target,
                    level=levels.get(vessel),
                )
            )
    return found
