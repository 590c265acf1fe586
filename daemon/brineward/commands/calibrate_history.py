"""What the tests of a probe say: gathered from the engine and the journal, as plain values."""

from dataclasses import dataclass
from math import exp
from typing import Any, NamedTuple

from brineward.commands.next_test import NextTest, next_test
from brineward.engine.engine import Engine
from brineward.physics.calibration import PER_KELVIN_OVER, Calibration
from brineward.physics.conductivity import COLDEST_C, WARMEST_C
from brineward.physics.creeping import Film
from brineward.physics.estimate import Factor, Held
from brineward.physics.salinity import COVERAGE, NotBrine, mass_fraction_from_conductivity
from brineward.plant.plan import DepotPlan
from brineward.plant.probes import Probe
from brineward.plant.recorded_test import RecordedTest, StruckRecord
from brineward.readings.instants import SECOND, Instant, rfc3339_from_instant

COURSE_POINTS = 120


class Asked(NamedTuple):
    """Which probe, and when."""

    plan: DepotPlan
    vessel: str
    now: Instant


class Standing(NamedTuple):
    """What standing brine has shown about the probe."""

    looks: tuple[Instant, ...]
    """When it was observed, oldest first."""
    told: tuple[tuple[Instant, float], ...]
    """What each observation says about the factor's logarithm, strengths being as all give them."""
    tied: tuple[Instant, ...]
    """When standing periods began whose strength is partly known from what came in before."""
    changes: tuple[Instant, ...]
    """When it was found to have changed."""
    shifted: float
    """How much more it reads since its last test, relative."""
    film: Film | None
    """The film growing on it, as tests and observations have shown together."""
    held: tuple[float, float, float] | None
    """The strength of the standing brine, with its 95 % interval; None if none stands."""


class PerDegree(NamedTuple):
    """What the brine's conductivity gains per kelvin at one temperature, relative."""

    temperature_c: float
    shown: float
    """By tests and standing brine, together with the curve."""
    low: float
    high: float
    """The ends of its 95 % interval."""
    by_curve: float
    """By the curve alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Everything that the command tells of one probe."""

    depot: str
    vessel: str
    now: Instant
    temperature_c: float | None
    """Of the brine, as its thermometer said last."""
    tests: tuple[RecordedTest, ...]
    struck: tuple[StruckRecord, ...] = ()
    """Tests that were struck, in the order in which they were."""
    factor: Factor | None
    """Now, for brine at the target; None before the first test."""
    question: str
    next: NextTest | None
    """None while the brine's temperature isn't known."""
    stands: Standing
    per_degree: tuple[PerDegree, ...]
    """For brine at the target, where its temperature has moved about; coldest first."""
    course: tuple[tuple[Instant, Factor], ...]
    """The factor from before the first test to now, at the temperature of now."""


def history_of(asked: Asked, engine: Engine) -> History:
    """Gather it."""
    plan, vessel, now = asked
    plant = engine.plant(plan.id)
    probe = plant.probes[vessel]
    temperature_c = probe.thermometer.value
    if temperature_c is not None and not COLDEST_C <= temperature_c <= WARMEST_C:
        temperature_c = None
    factor, foreseen = None, None
    if temperature_c is not None:
        foreseen = next_test(probe, plan.strength, temperature_c, now)
        if probe.calibrated:
            factor = probe.calibration.factor_at(now / SECOND, temperature_c, plan.strength.target)
    return History(
        depot=plan.id,
        vessel=vessel,
        now=now,
        temperature_c=temperature_c,
        tests=tuple(probe.records),
        struck=tuple(probe.struck),
        factor=factor,
        question=probe.question(),
        next=foreseen,
        stands=_stands(probe, temperature_c, now),
        per_degree=_per_degree(probe, plan.strength.target, now),
        course=_course(probe, plan.strength.target, temperature_c, now),
    )


def _stands(probe: Probe, temperature_c: float | None, now: Instant) -> Standing:
    calibration = probe.calibration
    held = None
    if probe.stand is not None and temperature_c is not None and probe.calibrated:
        found = calibration.held(probe.stand, now / SECOND, temperature_c)
        held = None if found is None else _held(found, temperature_c)
    looks = calibration.told_by_looks()
    strengths = calibration.stands.strengths
    return Standing(
        tuple(round(one.seconds * SECOND) for one, _ in looks),
        tuple((round(one.seconds * SECOND), told) for one, told in looks),
        tuple(
            round(stand * SECOND)
            for stand in sorted({one.stand for one, _ in looks})
            if strengths.is_tied(stand)
        ),
        tuple(
            round(one.seconds * SECOND) for one in calibration.seen_changes() if one.kind == "step"
        ),
        probe.shifted,
        probe.film,
        held,
    )


def _per_degree(probe: Probe, target: float, now: Instant) -> tuple[PerDegree, ...]:
    """At every five degrees that tests and observations reach on both sides, within half that."""
    calibration = probe.calibration
    seen = [one.temperature_c for one in calibration.kept]
    seen += [one.temperature_c for one in calibration.stands.looks]
    if not seen or max(seen) - min(seen) < PER_KELVIN_OVER / 2.0:
        return ()
    found = []
    for middle in range(-15, 36, 5):
        reach = PER_KELVIN_OVER / 2.0
        if not min(seen) - reach <= middle <= max(seen) + reach:
            continue
        shown, spread = calibration.per_kelvin(now / SECOND, middle, target)
        curve = Calibration(calibration.sizes).per_kelvin(now / SECOND, middle, target).log_factor
        off = COVERAGE * spread
        found.append(PerDegree(float(middle), shown, shown - off, shown + off, curve))
    return tuple(found)


def _held(found: Held, temperature_c: float) -> tuple[float, float, float] | None:
    more = found.thermal * (temperature_c - found.temperature_c)
    reach = COVERAGE * found.standard_uncertainty
    try:
        low, middle, high = (
            mass_fraction_from_conductivity(exp(found.log_conductivity + more + off), temperature_c)
            for off in (-reach, 0.0, reach)
        )
    except NotBrine:
        return None
    return middle, low, high


def _course(
    probe: Probe, target: float, temperature_c: float | None, now: Instant
) -> tuple[tuple[Instant, Factor], ...]:
    paired = [record.at for record in probe.records if record.log_factor is not None]
    if temperature_c is None or not paired or now <= paired[0]:
        return ()
    step = max(1, (now - paired[0]) // COURSE_POINTS)
    factor_at = probe.calibration.factor_at
    return tuple(
        (time, factor_at(time / SECOND, temperature_c, target))
        for time in range(paired[0], now + 1, step)
    )


def _film_as_json(film: Film | None) -> dict[str, Any] | None:
    if film is None:
        return None
    began = rfc3339_from_instant(round(film.began * SECOND))
    return {"began": began, "grown": film.grown, "per_month": film.per_month}


def as_json(history: History) -> dict[str, Any]:
    """The same in SI units, as plain data."""
    factor, foreseen = history.factor, history.next
    return {
        "time": rfc3339_from_instant(history.now),
        "depot": history.depot,
        "vessel": history.vessel,
        "temperature_c": history.temperature_c,
        "tests": [_test_as_json(test) for test in history.tests],
        "struck": [_struck_as_json(one) for one in history.struck],
        "factor": None if factor is None else _factor_as_json(factor),
        "stands": {
            "looks": [rfc3339_from_instant(at) for at in history.stands.looks],
            "factors": [round(exp(told), 6) for _, told in history.stands.told],
            "tied_by_fills": [rfc3339_from_instant(at) for at in history.stands.tied],
            "changes": [rfc3339_from_instant(at) for at in history.stands.changes],
            "shifted": history.stands.shifted,
            "film": _film_as_json(history.stands.film),
            "held": history.stands.held and [round(one, 6) for one in history.stands.held],
        },
        "percent_per_degree": [
            {
                "temperature_c": one.temperature_c,
                "percent": round(one.shown * 100.0, 4),
                "interval_95": [round(one.low * 100.0, 4), round(one.high * 100.0, 4)],
                "by_curve": round(one.by_curve * 100.0, 4),
            }
            for one in history.per_degree
        ],
        "question": history.question,
        "next_test": None if foreseen is None else _next_as_json(foreseen),
    }


def _test_as_json(test: RecordedTest) -> dict[str, Any]:
    return {**test._asdict(), "at": rfc3339_from_instant(test.at)}


def _struck_as_json(one: StruckRecord) -> dict[str, Any]:
    struck = {"struck": rfc3339_from_instant(one.struck), "struck_by": one.by, "why": one.why}
    return _test_as_json(one.test) | struck


def _factor_as_json(factor: Factor) -> dict[str, Any]:
    reach = COVERAGE * factor.standard_uncertainty
    return {
        "value": round(exp(factor.log_factor), 6),
        "relative_standard_uncertainty": round(factor.standard_uncertainty, 6),
        "interval_95": [
            round(exp(factor.log_factor - reach), 6),
            round(exp(factor.log_factor + reach), 6),
        ],
    }


def _next_as_json(foreseen: NextTest) -> dict[str, Any]:
    known = foreseen.known
    return {
        "due": foreseen.loose or foreseen.old,
        "at": None if foreseen.at is None else rfc3339_from_instant(foreseen.at),
        "below_c": None if foreseen.below_c is None else round(foreseen.below_c, 1),
        "above_c": None if foreseen.above_c is None else round(foreseen.above_c, 1),
        "target_interval_95": None if known is None else [round(x, 6) for x in known.interval_95],
    }
