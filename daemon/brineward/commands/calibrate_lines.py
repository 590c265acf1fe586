"""The tests of one probe as lines for a person, with a small plot."""

from collections.abc import Iterator
from itertools import product
from math import exp

from brineward.commands.calibrate_history import History, Standing
from brineward.commands.next_test import NextTest
from brineward.physics.salinity import COVERAGE
from brineward.plant.plan import DepotPlan
from brineward.plant.recorded_test import RecordedTest, StruckRecord
from brineward.quantities import format_quantity
from brineward.readings.entries import HandTest, StruckTest
from brineward.readings.instants import SECOND, Instant, local_from_instant
from brineward.wording.operator_units import percent, temperature

WIDTH, HEIGHT = 60, 9

KEPT = ("kept", "step")
"""What becomes of a test that is believed."""
_FINDINGS = {
    "kept": "kept",
    "odd": "SET ASIDE: test again on another day; that test decides",
    "slip": "set aside: a later test agreed with those before it",
    "undecided": "set aside: the probe was cleaned, moved or replaced before another test",
    "step": "kept: the probe has changed, by this test and another on the same side",
    "unpaired": "on record only: the probe gave no reading of covered, standing brine then",
}


_SLIPS: dict[str, str] = {
    "fahrenheit": "the sample's temperature looks like degrees Fahrenheit, entered as Celsius",
    "celsius": "the sample's temperature looks like degrees Celsius, entered as Fahrenheit",
    "sample": "the sample's temperature is far from the tank's: was it read at once?",
    "saturation": "the tank's brine can't hold so much salt at its temperature",
}


def queued_line(test: HandTest) -> str:
    """That a test waits for the service, and what it says of the brine."""
    reach = COVERAGE * test.standard_uncertainty
    low, high = test.mass_fraction - reach, test.mass_fraction + reach
    return (
        f"Entered: {_printable(test.entered)} is {percent(test.mass_fraction)} % "
        f"({percent(low)} to {percent(high)}, 95 %); queued for the service, which reports it "
        "where test and probe disagree."
    )


def lines(plan: DepotPlan, history: History) -> Iterator[str]:
    """The history, line by line."""
    yield f"{plan.name}, {history.vessel}"
    if not history.tests:
        yield "  No test yet: the probe is taken as its data sheet says."
    listed: list[tuple[Instant, str]] = [(one.at, _test_line(plan, one)) for one in history.tests]
    listed += [(one.test.at, _struck_line(plan, one)) for one in history.struck]
    for _, line in sorted(listed):
        yield f"  {line}"
    if history.tests and history.tests[-1].slip:
        yield "  Enter the last test again as it should be, or as it was with --sure."
    if history.question:
        yield f"  DISAGREEMENT: {history.question}."
    yield from (f"  {line}" for line in standing_lines(plan, history.stands))
    yield from (f"  {line}" for line in _per_degree_lines(plan, history))
    yield from (f"  {line}" for line in _factor_lines(plan, history))
    if history.next is not None:
        yield f"  {next_line(plan, history.next)}"
    yield from (f"  {line}" for line in plot(plan, history))


def _test_line(plan: DepotPlan, test: RecordedTest) -> str:
    said = f"{_when(plan, test.at)}  test {percent(test.mass_fraction)} %"
    if test.conductivity_s_per_m is not None and test.temperature_c is not None:
        read = format_quantity(test.conductivity_s_per_m, "mS/cm", decimals=1)
        said += f"  probe {read} at {temperature(test.temperature_c, plan.us_units)}"
    if test.log_factor is not None:
        said += f", {_reads(test.log_factor)}"
    by = f", by {_printable(test.by)}" if test.by else ""
    slip = _SLIPS.get(test.slip, test.slip)
    doubt = f"; IN DOUBT, counts for little: {slip}" if slip else ""
    return f"{said}  {_FINDINGS.get(test.finding, test.finding)}{by}{doubt}"


def struck_line(plan: DepotPlan, strike: StruckTest) -> str:
    """That a strike waits for the service."""
    return (
        f"Struck: the test of {_when(plan, strike.at)}, {percent(strike.mass_fraction)} %; queued "
        "for the service, which judges all tests again without it."
    )


def _struck_line(plan: DepotPlan, one: StruckRecord) -> str:
    said = f"{_when(plan, one.test.at)}  test {percent(one.test.mass_fraction)} %"
    by = f" by {_printable(one.by)}" if one.by else ""
    why = f": {_printable(one.why)}" if one.why else ""
    return f"{said}  STRUCK{by}, {_when(plan, one.struck)}{why}"


def _reads(log_factor: float) -> str:
    off = (exp(-log_factor) - 1.0) * 100.0
    return f"reads {abs(off):.1f} % {'high' if off > 0 else 'low'}"


def standing_lines(plan: DepotPlan, stands: Standing) -> Iterator[str]:
    """What standing brine, which keeps its strength, has shown about the probe."""
    if not stands.looks:
        return
    count = len(stands.looks)
    seen = "1 observation" if count == 1 else f"{count} observations"
    looks = f"Standing brine: {seen} since {_when(plan, stands.looks[0])}"
    if stands.changes:
        changes = ", ".join(_when(plan, at) for at in stands.changes)
        yield f"{looks}; the probe changed before {changes} with nothing added."
        if stands.shifted:
            off = f"{abs(stands.shifted) * 100:.1f} % {'more' if stands.shifted > 0 else 'less'}"
            yield f"Since the last test it has come to read {off}; the factor corrects that."
    else:
        at_once = "" if stands.film is None else " at once"
        yield f"{looks}; the probe has not changed{at_once}."
    if stands.tied:
        ones = "one" if len(stands.tied) == 1 else "ones"
        yield (
            f"Fills link {len(stands.tied)} of its standing periods to the {ones} before, the"
            f" last on {_day(plan, stands.tied[-1])}."
        )
    if stands.film is not None:
        began = _day(plan, round(stands.film.began * SECOND))
        yield (
            f"A film has grown on the probe since about {began}: it reads"
            f" {stands.film.grown * 100:.1f} % less, by {stands.film.per_month * 100:.1f} % a month"
            " lately; the factor follows it. Clean the probe."
        )
    if stands.held is not None:
        middle, low, high = (percent(one) for one in stands.held)
        yield f"The standing brine is {middle} % ({low} to {high}, 95 %)."


def _per_degree_lines(plan: DepotPlan, history: History) -> Iterator[str]:
    """How conductivity changes with temperature here, which is unpublished below 0 degC."""
    if not history.per_degree:
        return
    each, scale = ("degF", 1.8) if plan.us_units else ("degC", 1.0)
    yield (
        f"Brine of {percent(plan.strength.target)} % gains this many percent of conductivity a"
        f" {each}, by this probe and thermometer:"
    )
    for one in history.per_degree:
        shown, low, high, curve = (
            f"{value * 100.0 / scale:.2f}" for value in (one.shown, one.low, one.high, one.by_curve)
        )
        at = temperature(one.temperature_c, plan.us_units)
        yield f"  at {at}: {shown} ({low} to {high}, 95 %); by the curve alone {curve}"


def _factor_lines(plan: DepotPlan, history: History) -> Iterator[str]:
    factor = history.factor
    if factor is not None and history.temperature_c is not None:
        reach = COVERAGE * factor.standard_uncertainty
        low, high = exp(factor.log_factor - reach), exp(factor.log_factor + reach)
        yield (
            f"Now, at {temperature(history.temperature_c, plan.us_units)}: its readings are "
            f"multiplied by {exp(factor.log_factor):.3f} ({low:.3f} to {high:.3f}, 95 %)."
        )
    if history.next is not None and history.next.known is not None:
        low, high = history.next.known.interval_95
        yield (
            f"Brine of {percent(plan.strength.target)} % would be reported as {percent(low)} to "
            f"{percent(high)} %."
        )


def next_line(plan: DepotPlan, foreseen: NextTest) -> str:
    """When to test next, and why."""
    low, high = percent(plan.strength.low), percent(plan.strength.high)
    if foreseen.loose:
        return (
            "Test now: brine at the target can't be distinguished from brine outside of "
            f"{low} to {high} %."
        )
    if foreseen.old or foreseen.at is None:
        return (
            "Test now: the last one is over a month old or was never made, and a film that creeps "
            "over the probe shows in nothing else."
        )
    when = [f"by {_day(plan, foreseen.at)}"]
    if foreseen.below_c is not None:
        when.append(
            f"when the brine is at {temperature(foreseen.below_c, plan.us_units)} or colder"
        )
    if foreseen.above_c is not None:
        when.append(f"when it is at {temperature(foreseen.above_c, plan.us_units)} or warmer")
    return f"Test next {', or '.join(when)}."


def plot(plan: DepotPlan, history: History) -> Iterator[str]:
    """Percent that the probe reads off, over time: tests as marks, the interval as dots."""
    if not history.course:
        return
    first, last = history.course[0][0], history.course[-1][0]
    span = max(1, last - first)
    paired = [
        (test.at, test.log_factor, test.finding)
        for test in history.tests
        if test.log_factor is not None
    ]
    ends = [y for _, f in history.course for y in _ends(f.log_factor, f.standard_uncertainty)]
    values = [*ends, *(y for _, y, _ in paired)]
    low, high = min(values), max(values)
    room = max(high - low, 1e-6)
    rows = [[" "] * WIDTH for _ in range(HEIGHT)]

    def put(time: Instant, value: float, sign: str) -> None:
        column = round((time - first) / span * (WIDTH - 1))
        row = round((high - value) / room * (HEIGHT - 1))
        rows[min(max(row, 0), HEIGHT - 1)][min(max(column, 0), WIDTH - 1)] = sign

    seen = [one for one in history.stands.changes if one >= first]
    for time, row in product(seen, rows):
        row[round((time - first) / span * (WIDTH - 1))] = ":"
    for time, factor in history.course:
        low_end, high_end = _ends(factor.log_factor, factor.standard_uncertainty)
        put(time, low_end, ".")
        put(time, high_end, ".")
        put(time, factor.log_factor, "-")
    for time, value, finding in paired:
        put(time, value, "o" if finding in KEPT else "x")
    yield "How far true conductivity lies above what the probe reads, %:"
    for number, row in enumerate(rows):
        value = high - room * number / (HEIGHT - 1)
        yield f"{value * 100:+6.1f} |{''.join(row).rstrip()}"
    yield f"        {_day(plan, first)}{_day(plan, last).rjust(WIDTH - len(_day(plan, first)))}"
    yield "        o a test kept, x one set aside, - the estimate, . its 95 % interval"
    if seen:
        yield "        : standing brine showed that the probe had changed"


def _ends(log_factor: float, spread: float) -> tuple[float, float]:
    return log_factor - COVERAGE * spread, log_factor + COVERAGE * spread


def _when(plan: DepotPlan, instant: Instant) -> str:
    return f"{local_from_instant(instant, plan.zone):%Y-%m-%d %H:%M}"


def _day(plan: DepotPlan, instant: Instant) -> str:
    return f"{local_from_instant(instant, plan.zone):%Y-%m-%d}"


def _printable(text: str) -> str:
    """What came from outside must not move a terminal's cursor."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)
