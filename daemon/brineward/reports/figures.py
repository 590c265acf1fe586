"""What a report says, as sentences and tables in the depot's units and time zone. Pure.

The page, the print and the spreadsheet all use these, so that they can't say different things.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Final

from brineward.quantities.catalogue import POUND_KG
from brineward.readings.entries import HandTest
from brineward.readings.instants import MINUTE, SECOND, Instant, local_from_instant
from brineward.records import Batch, Load
from brineward.records.balance import CHLORIDE
from brineward.records.balance import Figure as Known
from brineward.reports.contents import AlarmStory, Report, TankCourse
from brineward.wording.by_hand import sentence_of
from brineward.wording.operator_units import amount_of_salt, percent

WATER_KG_PER_M3: Final = 999.7
"""At 10 degC (IAPWS-95; what runs in from a main is about that cold)."""

Cell = str | float | datetime
"""A time is of the depot's own clock: each form writes it in its own way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under named columns; a number is a number, for those who add up."""

    name: str
    columns: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    nothing: str = ""
    """What is said where there is no row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number that the reader wants, with its name."""

    name: str
    value: str


def heading(report: Report) -> str:
    """Depot and period."""
    return f"{report.plan.name}: {report.period.title}"


def stretch(report: Report) -> str:
    """From when to when, on the depot's clock."""
    start, end = (_day_and_time(report, at) for at in (report.period.start, report.period.end))
    return f"{start} to {end}, times of {report.plan.zone}"


def summary(report: Report) -> list[str]:
    """How it went, in a few sentences."""
    units = report.plan.units
    said = []
    for tank in report.tanks:
        name = report.plan.name_of(tank.vessel)
        held = _volume_at_end(report, tank)
        contents = f" and {units.volume(held)}" if held is not None else ""
        if tank.strengths:
            last = tank.strengths[-1]
            said.append(
                f"The {name} ended at {percent(last.value)} % "
                f"({percent(last.low)} to {percent(last.high)}){contents}."
            )
        elif held is not None:
            said.append(f"The {name} ended with {units.volume(held)}; its strength is not known.")
    made, loaded = report.balance.made_m3.amount, report.balance.loaded_m3.amount
    if made or loaded:
        said.append(f"{units.volume(made)} made, {units.volume(loaded)} loaded.")
    said.append(_alarms_in_words(report.alarms))
    if report.texts.dead:
        said.append(f"{report.texts.dead} of {report.texts.due} texts reached nobody.")
    if report.without_readings_seconds:
        hours = _hours(report.without_readings_seconds)
        said.append(f"For {hours} no sensor reported anything: nobody watched then.")
    return said


def _alarms_in_words(alarms: Sequence[AlarmStory]) -> str:
    if not alarms:
        return "No alarm."
    open_ones = sum(one.cleared is None for one in alarms)
    untaken = sum(one.taken is None for one in alarms)
    count = "1 alarm" if len(alarms) == 1 else f"{len(alarms)} alarms"
    rest = [f"{untaken} not acknowledged"] if untaken else []
    rest += [f"{open_ones} still active at the end"] if open_ones else []
    return f"{count}{': ' if rest else ''}{', '.join(rest)}."


def figures(report: Report) -> list[Figure]:
    """The totals."""
    return [
        *_made_and_used(report),
        *(figure for tank in report.tanks for figure in _of_tank(report, tank)),
        Figure(name="Time without any reading", value=_hours(report.without_readings_seconds)),
        Figure(name="Alarms", value=str(len(report.alarms))),
        Figure(name="Texts due", value=str(report.texts.due)),
        Figure(name="Texts that reached nobody", value=str(report.texts.dead)),
    ]


def _made_and_used(report: Report) -> list[Figure]:
    """What was made, loaded and used, each with twice its standard uncertainty."""
    balance, us = report.balance, report.plan.us_units
    volume = partial(_volume, report)
    salt = partial(amount_of_salt, us=us)
    chloride = balance.salt_loaded
    found = [
        Figure(name="Made", value=_give_or_take(balance.made_m3, volume)),
        Figure(name="Loaded", value=_give_or_take(balance.loaded_m3, volume)),
        Figure(name="Salt in what was made", value=_give_or_take(balance.salt_made, salt)),
        Figure(name="Salt in what was loaded", value=_give_or_take(balance.salt_loaded, salt)),
        Figure(name="Chloride in what was loaded", value=_mass(CHLORIDE * chloride.amount, us)),
        Figure(
            name="Water in what was made",
            value=volume(balance.water_made.amount / WATER_KG_PER_M3),
        ),
    ]
    if balance.salt_delivered is not None:
        value = _give_or_take(balance.salt_delivered, salt)
        found.append(Figure(name=f"Salt delivered ({balance.delivered_how})", value=value))
    tested = sum(batch.tested is not None for batch in _ended(report))
    missed = len(_ended(report)) - tested
    return [
        *found,
        Figure(name="Batches", value=f"{len(_ended(report))}, {tested} tested, {missed} not"),
        Figure(name="Loads", value=str(len(report.loads))),
    ]


def _of_tank(report: Report, tank: TankCourse) -> list[Figure]:
    name = report.plan.name_of(tank.vessel)
    off, unknown = _hours(tank.off_band_seconds), _hours(tank.unknown_seconds)
    return [
        Figure(name=f"{name}: time outside {_band(report)}", value=off),
        Figure(name=f"{name}: time without a strength", value=unknown),
        Figure(name=f"{name}: hydrometer tests", value=str(len(tank.tests))),
    ]


def _ended(report: Report) -> list[Batch]:
    return [one for one in report.batches if one.ended is not None]


def tables(report: Report) -> list[Table]:
    """What happened, row by row."""
    return [
        _load_table(report),
        _batch_table(report),
        _alarm_table(report),
        _test_table(report),
        _entered_table(report),
        _mode_table(report),
    ]


def _load_table(report: Report) -> Table:
    return Table(
        name="Loads",
        columns=("No.", "From", "To", "Volume", "Strength, %", "Salt", "How known"),
        rows=[
            (
                load.number,
                _local(report, load.began),
                "goes on" if load.ended is None else _local(report, load.ended),
                _sure_volume(report, load),
                _strength(load),
                "" if load.salt_kg is None else amount_of_salt(load.salt_kg, report.plan.us_units),
                load.how or "",
            )
            for load in report.loads
        ],
        nothing="No load.",
    )


def _batch_table(report: Report) -> Table:
    return Table(
        name="Batches",
        columns=("No.", "From", "To", "Tank", "Volume", "Strength, %", "Tested, %", "Accepted"),
        rows=[
            (
                batch.number,
                _local(report, batch.began),
                "goes on" if batch.ended is None else _local(report, batch.ended),
                report.plan.name_of(batch.vessel),
                _sure_volume(report, batch),
                _strength(batch),
                "" if batch.tested is None else percent(batch.tested.mass_fraction),
                {None: "", True: "yes", False: "no"}[batch.by_hand.accepted],
            )
            for batch in report.batches
        ],
        nothing="No batch.",
    )


def _entered_table(report: Report) -> Table:
    units = report.plan.units
    return Table(
        name="Entered by hand",
        columns=("No.", "When", "By", "What"),
        rows=[
            (
                one.number,
                _local(report, one.entry.at),
                report.plan.name_of(one.entry.by) if one.entry.by else "",
                sentence_of(one.entry.record, units),
            )
            for one in report.entered
        ],
        nothing="Nothing was entered.",
    )


def _alarm_table(report: Report) -> Table:
    return Table(
        name="Alarms",
        columns=("Code", "Priority", "What", "Active from", "To", "Taken by", "After"),
        rows=[
            (
                report.plan.code(one.number),
                str(one.priority),
                one.sentence,
                _local(report, one.raised),
                "still active" if one.cleared is None else _local(report, one.cleared),
                report.plan.name_of(one.by) if one.by else "nobody",
                "" if one.taken is None else _minutes(one.taken - one.raised),
            )
            for one in report.alarms
        ],
        nothing="No alarm.",
    )


def _test_table(report: Report) -> Table:
    tests = sorted((test for tank in report.tanks for test in tank.tests), key=lambda one: one.at)
    return Table(
        name="Hydrometer tests",
        columns=("When", "Tank", "Strength, %", "Plus or minus, %", "By", "As entered"),
        rows=[_test_row(report, test) for test in tests],
        nothing="No test was entered.",
    )


def _test_row(report: Report, test: HandTest) -> Sequence[Cell]:
    return (
        _local(report, test.at),
        report.plan.name_of(test.vessel),
        round(test.mass_fraction * 100, 2),
        round(2 * test.standard_uncertainty * 100, 2),
        report.plan.name_of(test.by) if test.by else "",
        test.entered,
    )


def _mode_table(report: Report) -> Table:
    return Table(
        name="What the depot was used for",
        columns=("From", "Mode"),
        rows=[(_local(report, since), str(mode)) for mode, since in report.modes],
        nothing="No mode was set: in service.",
    )


# -- words and numbers


def course_rows(report: Report) -> Iterator[Sequence[Cell]]:
    """Each tank's volume and strength over time: when, tank, m3, %, low %, high %."""
    for tank in report.tanks:
        vessel = report.plan.vessels[tank.vessel]
        for bucket in tank.levels:
            held = vessel.shape.volume_m3(max(0.0, bucket.mean))
            yield (_local(report, bucket.time), tank.vessel, round(held, 4), "", "", "")
        for point in tank.strengths:
            strengths = (point.value, point.low, point.high)
            yield (
                _local(report, point.time),
                tank.vessel,
                "",
                *(round(one * 100, 3) for one in strengths),
            )


def _volume_at_end(report: Report, tank: TankCourse) -> float | None:
    if not tank.levels:
        return None
    return report.plan.vessels[tank.vessel].shape.volume_m3(max(0.0, tank.levels[-1].mean))


def _volume(report: Report, cubic_metres: float) -> str:
    return report.plan.units.volume(cubic_metres)


def _give_or_take(figure: Known, say: Callable[[float], str]) -> str:
    """An amount with twice its standard uncertainty."""
    return f"{say(figure.amount)} +/- {say(2 * figure.standard_uncertainty)}"


def _mass(kg: float, us: bool) -> str:
    return f"{kg / POUND_KG:,.0f} lb" if us else f"{kg:,.0f} kg"


def _sure_volume(report: Report, made: Load | Batch) -> str:
    if made.volume_m3 is None:
        return "?"
    doubt = _volume(report, 2 * (made.volume_standard_uncertainty_m3 or 0.0))
    return f"{_volume(report, made.volume_m3)} +/- {doubt}"


def _strength(made: Load | Batch) -> str:
    if made.mass_fraction is None:
        return "not known"
    if made.interval_95 is None:
        return percent(made.mass_fraction)
    low, high = made.interval_95
    return f"{percent(made.mass_fraction)} ({percent(low)} to {percent(high)})"


def _band(report: Report) -> str:
    band = report.plan.strength
    return f"{percent(band.low)} to {percent(band.high)} %"


def _hours(seconds: float) -> str:
    if seconds < 60:
        return "none"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


def _minutes(span: Instant) -> str:
    return f"{span // SECOND} s" if span < 2 * MINUTE else f"{span // MINUTE} min"


def _day_and_time(report: Report, at: Instant) -> str:
    return f"{local_from_instant(at, report.plan.zone):%a %Y-%m-%d %H:%M}"


def _local(report: Report, at: Instant) -> datetime:
    return local_from_instant(at, report.plan.zone)


def short_time(at: datetime) -> str:
    """A time within a report whose heading says the year."""
    return f"{at:%a} {at.day} {at:%b %H:%M}"
