"""What a report says, as sentences and totals in the depot's units and time zone. Pure.

The page, the print and the spreadsheet all use these, so that they can't say different things.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from brineward.physics.water import FRESH_KG_PER_M3
from brineward.records import Batch
from brineward.records.balance import CHLORIDE
from brineward.records.balance import Figure as Known
from brineward.reports.cells import Single, Unit, give_or_take, mass_unit, volume_unit
from brineward.reports.contents import AlarmStory, Report, TankCourse
from brineward.reports.words import day_and_time, hours, local, short_time
from brineward.wording.operator_units import percent


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number that the reader wants, with its name."""

    name: str
    value: str
    numbers: Sequence[Single] = ("", "", "")
    """The same for a spreadsheet: how much, give or take how much, and of what."""


def heading(report: Report) -> str:
    """Depot and period."""
    return f"{report.plan.name}: {report.period.title}"


def stretch(report: Report) -> str:
    """From when to when, on the depot's clock."""
    start, end = (day_and_time(report, at) for at in (report.period.start, report.period.end))
    since = ", when its records begin," if report.begins_with_records else ""
    return f"{start}{since} to {end}, times of {report.plan.zone}"


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
        blind = hours(report.without_readings_seconds)
        said.append(f"For {blind} no sensor reported anything: nobody watched then.")
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
        _lasted("Time without any reading", report.without_readings_seconds),
        _counted("Alarms", len(report.alarms)),
        _counted("Texts to people", report.texts.due),
        _counted("Texts that reached nobody", report.texts.dead),
    ]


def _made_and_used(report: Report) -> list[Figure]:
    """What was made, loaded and used, each with twice its standard uncertainty."""
    balance, us = report.balance, report.plan.us_units
    gallons = volume_unit(us)
    salt, water = balance.salt_loaded, balance.water_made
    chloride = Known(CHLORIDE * salt.amount, CHLORIDE * salt.standard_uncertainty)
    of_water = (water.amount / FRESH_KG_PER_M3, water.standard_uncertainty / FRESH_KG_PER_M3)
    found = [
        _measured("Made", balance.made_m3, gallons),
        _measured("Loaded", balance.loaded_m3, gallons),
        _salted("Salt in what was made", balance.salt_made, us),
        _salted("Salt in what was loaded", salt, us),
        _measured("Chloride in what was loaded", chloride, mass_unit(us)),
        _measured("Water in what was made", Known(*of_water), gallons),
    ]
    if balance.salt_delivered is not None:
        seen = balance.delivered_until
        until = "" if seen is None else f", up to {short_time(local(report, seen))}"
        name = f"Salt delivered ({balance.delivered_how}{until})"
        found.append(_salted(name, balance.salt_delivered, us))
    ended = _ended(report)
    tested = sum(batch.tested is not None for batch in ended)
    return [
        *found,
        _counted("Loads", balance.loads),
        _counted("Batches", len(ended)),
        _counted("Batches tested by hand", tested),
        _counted("Batches not tested", len(ended) - tested),
    ]


def _measured(name: str, known: Known, unit: Unit) -> Figure:
    words, numbers = give_or_take(known, unit)
    return Figure(name=name, value=words, numbers=(*numbers, unit.name))


def _salted(name: str, known: Known, us: bool) -> Figure:
    return _measured(name, known, mass_unit(us, known.amount))


def _counted(name: str, count: int) -> Figure:
    return Figure(name=name, value=f"{count:,}", numbers=(count, "", ""))


def _lasted(name: str, seconds: float) -> Figure:
    return Figure(name=name, value=hours(seconds), numbers=(round(seconds / 3600, 2), "", "h"))


def _of_tank(report: Report, tank: TankCourse) -> list[Figure]:
    name = report.plan.name_of(tank.vessel)
    name = f"{name[:1].upper()}{name[1:]}"
    return [
        _lasted(f"{name}: time outside {_band(report)}", tank.off_band_seconds),
        _lasted(f"{name}: time without a strength", tank.unknown_seconds),
        _counted(f"{name}: hydrometer tests", len(tank.tests)),
    ]


def _ended(report: Report) -> list[Batch]:
    return [one for one in report.batches if one.ended is not None]


def course_rows(report: Report) -> Iterator[Sequence[Single]]:
    """Each tank's volume and strength over time: when, tank, volume, %, low %, high %.

    The volume in the depot's own unit.
    """
    size = volume_unit(report.plan.us_units).size
    for tank in report.tanks:
        vessel, name = report.plan.vessels[tank.vessel], report.plan.name_of(tank.vessel)
        for bucket in tank.levels:
            held = vessel.shape.volume_m3(max(0.0, bucket.mean))
            yield (local(report, bucket.time), name, round(held / size, 1), "", "", "")
        for point in tank.strengths:
            strengths = (round(one * 100, 3) for one in (point.value, point.low, point.high))
            yield (local(report, point.time), name, "", *strengths)


def _volume_at_end(report: Report, tank: TankCourse) -> float | None:
    if not tank.levels:
        return None
    return report.plan.vessels[tank.vessel].shape.volume_m3(max(0.0, tank.levels[-1].mean))


def _band(report: Report) -> str:
    band = report.plan.strength
    return f"{percent(band.low)} to {percent(band.high)} %"
