"""A report as one HTML page, for a screen and for paper; it fetches nothing from anywhere."""

from collections.abc import Sequence
from datetime import datetime
from importlib.resources import files
from typing import Final, NamedTuple

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from brineward.quantities.catalogue import US_GALLON_M3
from brineward.readings.instants import MINUTE, local_from_instant
from brineward.reports import figures
from brineward.reports.cells import Cell, Parts, Table, signs
from brineward.reports.contents import Report, TankCourse
from brineward.reports.pictures import Line, Picture
from brineward.reports.tables import tables
from brineward.reports.words import short_time
from brineward.wording.operator_units import percent

_TEMPLATE: Final = "report.html.jinja"
_LOW: Final = 120
"""How high a picture of less weight is."""


def html(report: Report) -> str:
    """The page."""
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    source = files(__package__).joinpath(_TEMPLATE).read_text(encoding="utf-8")
    return environment.from_string(source).render(
        heading=figures.heading(report),
        paper="letter" if report.plan.us_units else "A4",
        stretch=figures.stretch(report),
        summary=figures.summary(report),
        figures=[(one.name, signs(one.value)) for one in figures.figures(report)],
        pictures=[
            (picture.title, Markup(svg))  # noqa: S704 - drawn by us, its texts escaped
            for picture in pictures(report)
            if (svg := picture.svg())
        ],
        tables=[_shown(table) for table in tables(report)],
        made=f"Made {local_from_instant(report.made, report.plan.zone):%Y-%m-%d %H:%M}",
    )


class _ShownCell(NamedTuple):
    """A cell as the page shows it."""

    column: str
    words: str
    kind: str
    """How it is set: as a `number`, a `time`, `whole` on one line, or as a text."""


class _ShownTable(NamedTuple):
    """A table without the columns in which nothing stands."""

    name: str
    rows: Sequence[Sequence[_ShownCell]]
    nothing: str


def _shown(table: Table) -> _ShownTable:
    rows = [_row(table, row) for row in table.rows]
    empty = {
        place for place in range(len(table.columns)) if not any(row[place].words for row in rows)
    }
    kept = [[cell for place, cell in enumerate(row) if place not in empty] for row in rows]
    return _ShownTable(table.name, kept, table.nothing)


def _row(table: Table, row: Sequence[Cell]) -> list[_ShownCell]:
    """A time on the day of the one before it is shown without its day."""
    found: list[_ShownCell] = []
    day: datetime | None = None
    for column, cell in zip(table.columns, row, strict=True):
        if isinstance(cell, datetime):
            found.append(_ShownCell(column.name, short_time(cell, day), "time"))
            day = cell
        elif isinstance(cell, Parts):
            found.append(_ShownCell(column.name, signs(cell.words), "whole"))
        else:
            kind = "number" if isinstance(cell, int | float) else ""
            words = f"{cell:,}" if kind else signs(str(cell))
            found.append(_ShownCell(column.name, words, kind))
    return found


def pictures(report: Report) -> list[Picture]:
    """Of each tank its volume and its strength, then the temperatures."""
    found = []
    for tank in report.tanks:
        found += [_volumes(report, tank), _strengths(report, tank)]
    return [*found, *_temperatures(report)]


def _gap(report: Report) -> int:
    return max(30 * MINUTE, 4 * (report.period.end - report.period.start) // 480)


def _volumes(report: Report, tank: TankCourse) -> Picture:
    plan, vessel = report.plan, report.plan.vessels[tank.vessel]
    size, unit = (US_GALLON_M3, "gal") if plan.us_units else (1.0, "m3")

    def held(level: float) -> float:
        return vessel.shape.volume_m3(max(0.0, level)) / size

    marks = [("brim", held(vessel.brim_m))]
    if vessel.fill_mark_m is not None:
        marks.append(("fill mark", held(vessel.fill_mark_m)))
    points = [(one.time, held(one.low), held(one.mean), held(one.high)) for one in tank.levels]
    return Picture(
        title=f"{plan.name_of(tank.vessel)}: volume, {unit}",
        unit=unit,
        start=report.period.start,
        end=report.period.end,
        zone=plan.zone,
        lines=[Line(name="volume", points=points, gap=_gap(report))],
        marks=marks,
    )


def _strengths(report: Report, tank: TankCourse) -> Picture:
    plan, band = report.plan, report.plan.strength
    points = [(one.time, one.low * 100, one.value * 100, one.high * 100) for one in tank.strengths]
    return Picture(
        title=f"{plan.name_of(tank.vessel)}: strength, % by mass, with its 95 % interval; "
        "rings are hydrometer tests",
        unit="%",
        start=report.period.start,
        end=report.period.end,
        zone=plan.zone,
        lines=[Line(name="strength", points=points, gap=_gap(report))],
        marks=[
            (f"{percent(band.low)} low", band.low * 100),
            (f"{percent(band.high)} high", band.high * 100),
        ],
        dots=[
            (
                one.at,
                one.mass_fraction * 100,
                (one.mass_fraction - 2 * one.standard_uncertainty) * 100,
                (one.mass_fraction + 2 * one.standard_uncertainty) * 100,
            )
            for one in tank.tests
        ],
    )


def _temperatures(report: Report) -> list[Picture]:
    plan = report.plan
    us = plan.us_units

    def own(celsius: float) -> float:
        return celsius * 1.8 + 32 if us else celsius

    return [
        Picture(
            title=f"{plan.name_of(course.sensor)}, {'°F' if us else '°C'}",
            unit="°F" if us else "°C",
            height=_LOW,
            start=report.period.start,
            end=report.period.end,
            zone=plan.zone,
            lines=[
                Line(
                    name=course.sensor,
                    points=[
                        (one.time, own(one.low), own(one.mean), own(one.high))
                        for one in course.points
                    ],
                    gap=_gap(report),
                )
            ],
            marks=[("water freezes", own(0.0))],
        )
        for course in report.temperatures
    ]
