"""What a report says, as sentences and tables in the depot's units and clock. Pure.

A page, a print and a spreadsheet all write these, so that they can't say different things.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from brineward.readings.entries import HandTest
from brineward.readings.instants import MINUTE, SECOND, Instant, local_from_instant
from brineward.reports.contents import AlarmStory, Report, TankCourse
from brineward.wording.operator_units import percent

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
    """One number that the reader looks for, with its name."""

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
    found = []
    for tank in report.tanks:
        name = report.plan.name_of(tank.vessel)
        found.append(
            Figure(
                name=f"{name}: time outside {_band(report)}", value=_hours(tank.off_band_seconds)
            )
        )
        found.append(
            Figure(name=f"{name}: time without a strength", value=_hours(tank.unknown_seconds))
        )
        found.append(Figure(name=f"{name}: hydrometer tests", value=str(len(tank.tests))))
    found.append(
        Figure(name="Time without any reading", value=_hours(report.without_readings_seconds))
    )
    found.append(Figure(name="Alarms", value=str(len(report.alarms))))
    found.append(Figure(name="Texts due", value=str(report.texts.due)))
    found.append(Figure(name="Texts that reached nobody", value=str(report.texts.dead)))
    return found


def tables(report: Report) -> list[Table]:
    """What happened, row by row."""
    return [_alarm_table(report), _test_table(report), _mode_table(report)]


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
