"""What happened, row by row, in the depot's units and clock. Pure."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from brineward.readings.entries import HandTest, StruckTest
from brineward.readings.instants import MINUTE
from brineward.records import Batch, Load
from brineward.records.acts import EnteredTest
from brineward.records.balance import Figure as Known
from brineward.reports.cells import (
    Cell,
    Column,
    Parts,
    Table,
    give_or_take,
    mass_unit,
    volume_unit,
)
from brineward.reports.contents import Report
from brineward.reports.period import PeriodKind
from brineward.reports.words import local, span, strength
from brineward.wording.by_hand import sentence_of
from brineward.wording.operator_units import amount_of_salt, percent

_STRENGTH = Column("Strength, %", ("Strength, %", "Low, %", "High, %"))


def tables(report: Report) -> list[Table]:
    """Every table of a report, in the order in which people look at them."""
    season = report.period.kind is PeriodKind.SEASON
    return [
        *([_months(report)] if season else []),
        _loads(report),
        _batches(report),
        _alarms(report),
        _tests(report),
        _entered(report),
        _modes(report),
    ]


def _volume_column(report: Report) -> Column:
    unit = volume_unit(report.plan.us_units).name
    return Column("Volume", (f"Volume, {unit}", f"Plus or minus, {unit}"))


def _months(report: Report) -> Table:
    """A season month by month; a load or a batch counts where it ended."""
    us = report.plan.us_units
    gallons, pounds = volume_unit(us), mass_unit(us)
    loads = [one for one in report.loads if one.ended is not None]
    batches = [one for one in report.batches if one.ended is not None]
    tests = [test for tank in report.tanks for test in tank.tests]
    ended = {
        "loads": [local(report, one.ended or 0) for one in loads],
        "batches": [local(report, one.ended or 0) for one in batches],
        "tests": [local(report, one.at) for one in tests],
        "alarms": [local(report, one.raised) for one in report.alarms],
    }
    months = sorted({(at.year, at.month) for times in ended.values() for at in times})

    def row(month: tuple[int, int]) -> Sequence[Cell]:
        chosen = {
            name: [place for place, at in enumerate(times) if (at.year, at.month) == month]
            for name, times in ended.items()
        }
        loaded = [loads[place] for place in chosen["loads"]]
        made = [batches[place] for place in chosen["batches"]]
        return (
            f"{datetime(*month, 1):%B %Y}",  # noqa: DTZ001 - the name of a month has no zone
            len(loaded),
            round(sum(one.volume_m3 or 0.0 for one in loaded) / gallons.size),
            round(sum(one.salt_kg or 0.0 for one in loaded) / pounds.size),
            len(made),
            round(sum(one.volume_m3 or 0.0 for one in made) / gallons.size),
            len(chosen["tests"]),
            len(chosen["alarms"]),
        )

    return Table(
        name="Month by month",
        columns=[
            Column(name)
            for name in (
                "Month", "Loads", f"Loaded, {gallons.name}", f"Salt loaded, {pounds.name}",
                "Batches", f"Made, {gallons.name}", "Tests", "Alarms",
            )
        ],
        rows=[row(month) for month in months],
        nothing="Nothing happened.",
    )  # fmt: skip


def _from_to(report: Report, made: Load | Batch) -> Iterator[Cell]:
    yield local(report, made.began)
    yield "goes on" if made.ended is None else local(report, made.ended)


def _volume(report: Report, made: Load | Batch) -> Parts:
    if made.volume_m3 is None:
        return Parts("?", ("", ""))
    doubt = made.volume_standard_uncertainty_m3 or 0.0
    return give_or_take(Known(made.volume_m3, doubt), volume_unit(report.plan.us_units))


def _salt(report: Report, made: Load | Batch) -> Parts:
    us = report.plan.us_units
    if made.salt_kg is None:
        return Parts("", ("",))
    return Parts(amount_of_salt(made.salt_kg, us), (round(made.salt_kg / mass_unit(us).size, 1),))


def _loads(report: Report) -> Table:
    return Table(
        name="Loads",
        columns=[
            Column("No."), Column("From"), Column("To"), _volume_column(report), _STRENGTH,
            Column("Salt", (f"Salt, {mass_unit(report.plan.us_units).name}",)), Column("How known"),
        ],
        rows=[
            (
                load.number,
                *_from_to(report, load),
                _volume(report, load),
                strength(load),
                _salt(report, load),
                load.how or "",
            )
            for load in report.loads
        ],
        nothing="No load.",
    )  # fmt: skip


def _batches(report: Report) -> Table:
    return Table(
        name="Batches",
        columns=[
            Column("No."), Column("From"), Column("To"), Column("Tank"), _volume_column(report),
            _STRENGTH, Column("Tested, %", ("Tested, %",)), Column("Accepted"),
        ],
        rows=[
            (
                batch.number,
                *_from_to(report, batch),
                report.plan.name_of(batch.vessel),
                _volume(report, batch),
                strength(batch),
                _tested(batch),
                {None: "", True: "yes", False: "no"}[batch.by_hand.accepted],
            )
            for batch in report.batches
        ],
        nothing="No batch.",
    )  # fmt: skip


def _tested(batch: Batch) -> Parts:
    if batch.tested is None:
        return Parts("", ("",))
    found = batch.tested.mass_fraction
    return Parts(percent(found), (round(found * 100, 2),))


def _entered(report: Report) -> Table:
    units = report.plan.units
    return Table(
        name="Entered by hand",
        columns=[Column("No."), Column("When"), Column("By"), Column("What")],
        rows=[
            (
                one.number,
                local(report, one.entry.at),
                report.plan.name_of(one.entry.by) if one.entry.by else "",
                sentence_of(one.entry.record, units),
            )
            for one in report.entered
        ],
        nothing="Nothing was entered.",
    )


def _alarms(report: Report) -> Table:
    return Table(
        name="Alarms",
        columns=[
            Column("Code"), Column("Priority"), Column("What"), Column("Active from"),
            Column("To"), Column("Taken by"), Column("Taken after", ("Taken after, min",)),
        ],
        rows=[
            (
                report.plan.code(one.number),
                str(one.priority),
                one.sentence,
                local(report, one.raised),
                "still active" if one.cleared is None else local(report, one.cleared),
                report.plan.name_of(one.by) if one.by else "nobody",
                Parts("", ("",))
                if one.taken is None
                else Parts(
                    span(one.taken - one.raised), (round((one.taken - one.raised) / MINUTE, 1),)
                ),
            )
            for one in report.alarms
        ],
        nothing="No alarm.",
    )  # fmt: skip


def _tests(report: Report) -> Table:
    tests = [EnteredTest(test, None) for tank in report.tanks for test in tank.tests]
    tests += [one for tank in report.tanks for one in tank.struck]
    return Table(
        name="Hydrometer tests",
        columns=[
            Column("When"), Column("Tank"),
            Column("Strength, %", ("Strength, %", "Plus or minus, %")),
            Column("By"), Column("As entered"),
        ],
        rows=[_test_row(report, one) for one in sorted(tests, key=lambda one: one.test.at)],
        nothing="No test was entered.",
    )  # fmt: skip


def _test_row(report: Report, entered: EnteredTest) -> Sequence[Cell]:
    test, struck = entered
    found, doubt = test.mass_fraction * 100, 2 * test.standard_uncertainty * 100
    return (
        local(report, test.at),
        report.plan.name_of(test.vessel),
        Parts(f"{found:.2f} +/- {doubt:.2f}", (round(found, 2), round(doubt, 2)))
        if struck is None
        else Parts("struck", ("", "")),
        report.plan.name_of(test.by) if test.by else "",
        test.entered if struck is None else _struck(report, test, struck),
    )


def _struck(report: Report, test: HandTest, struck: StruckTest) -> str:
    by = f" by {report.plan.name_of(struck.by)}" if struck.by else ""
    why = f": {struck.why}" if struck.why else ""
    return f"{test.entered}; struck{by}, {local(report, struck.time):%Y-%m-%d %H:%M}{why}"


def _modes(report: Report) -> Table:
    return Table(
        name="What the depot was used for",
        columns=[Column("From"), Column("Mode")],
        rows=[(local(report, since), str(mode)) for mode, since in report.modes],
        nothing="No mode was set: in service.",
    )
