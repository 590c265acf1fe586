"""One depot of the file: its tables are read, checked against each other, and made into a plan."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

from brineward.config.alarm_table import read_alarm
from brineward.config.depot_table import DepotTable, PumpTable, ValveTable
from brineward.config.fields import NAME_EXPECTED, name_mistake
from brineward.config.mistakes import KeyPath, written_name
from brineward.config.sections import Findings, Known, SectionT, table_of
from brineward.config.sensor_table import OUTDOORS, SHELTER, SensorTable
from brineward.config.settings import RotaCalendar, SensorSource
from brineward.config.vessel_table import VesselTable, vessel_table_for
from brineward.plant.plan import (
    AlarmSettings,
    DepotPlan,
    Duty,
    Pump,
    Strength,
    Valve,
    VesselKind,
)
from brineward.wording.operator_units import level

_ALONE = (VesselKind.HOPPER, VesselKind.MAIN, VesselKind.CONTAINMENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadDepot:
    """A depot's plan, and where its readings come from."""

    plan: DepotPlan
    sources: tuple[SensorSource, ...]
    calendar: RotaCalendar | None = None


def read_depot(findings: Findings, depot: str, raw: object, known: Known) -> ReadDepot | None:
    """One depot, or None where anything of it is a mistake; every mistake is noted."""
    key: KeyPath = ("depots", depot)
    before = len(findings.mistakes)
    known = replace(
        known,
        vessels=frozenset(table_of(raw, "vessels")),
        pumps=frozenset(table_of(raw, "pumps")),
        valves=frozenset(table_of(raw, "valves")),
        has_shelter=isinstance(raw, dict) and "shelter" in raw,
        us_units=isinstance(raw, dict) and raw.get("units") == "us",
    )
    head = findings.read(DepotTable, raw, key, known)
    vessels = _each(findings, table_of(raw, "vessels"), (*key, "vessels"), known, vessel_table_for)
    valves = _each(findings, table_of(raw, "valves"), (*key, "valves"), known, lambda _: ValveTable)
    pumps = _each(findings, table_of(raw, "pumps"), (*key, "pumps"), known, lambda _: PumpTable)
    sensors = _each(
        findings, table_of(raw, "sensors"), (*key, "sensors"), known, lambda _: SensorTable
    )
    alarms = _read_alarms(findings, table_of(raw, "alarms"), (*key, "alarms"), known)
    _hold_names_apart(findings, key, known)
    _hold_vessels_together(findings, key, vessels)
    _hold_probes_inside(findings, key, sensors, vessels, known)
    _hold_suctions_inside(findings, key, pumps, vessels, known)
    if head is None or len(findings.mistakes) > before:
        return None
    tanks = {name: table.planned(name) for name, table in vessels.items()}
    plan = DepotPlan(
        id=depot,
        name=head.name,
        short=head.short,
        zone=ZoneInfo(head.time_zone),
        us_units=head.units == "us",
        vessels=tanks,
        fills=tuple(fill for name, table in vessels.items() for fill in table.fills(name)),
        pumps={name: table.made(Pump, id=name) for name, table in pumps.items()},
        valves={name: table.made(Valve, id=name) for name, table in valves.items()},
        has_shelter=head.shelter is not None,
        shelter_name=head.shelter.name if head.shelter is not None else "",
        sensors={name: table.planned(name, tanks.get(table.at)) for name, table in sensors.items()},
        idle_hours=head.idle_hours,
        seasons=head.seasons.seasons(),
        strength=head.strength.made(Strength),
        test_batches_within_seconds=head.test_batches_within_seconds,
        alarms=alarms,
        duty=head.made(Duty, **_rota(head)),
    )
    sources = tuple(table.source(depot, name) for name, table in sensors.items())
    rota = head.rota
    calendar = (
        RotaCalendar(where=rota.calendar, every_seconds=rota.read_every_seconds)
        if rota is not None and rota.calendar is not None
        else None
    )
    return ReadDepot(plan=plan, sources=sources, calendar=calendar)


def _rota(head: DepotTable) -> dict[str, Any]:
    """Who is on call: those of the list, and all whom the rota names."""
    rota = None if head.rota is None else head.rota.rota()
    more = () if rota is None else rota.everybody
    return {"on_call": tuple(dict.fromkeys((*head.on_call, *more))), "rota": rota}


def check_names(findings: Findings, tables: Mapping[str, object], key: KeyPath) -> None:
    """Note every name under a table that can't be an id."""
    for name in tables:
        mistake = name_mistake(name)
        if mistake:
            findings.add((*key, name), mistake, NAME_EXPECTED)


def _each(
    findings: Findings,
    tables: Mapping[str, Any],
    key: KeyPath,
    known: Known,
    table_for: Callable[[object], type[SectionT]],
) -> dict[str, SectionT]:
    """Every table that could be read, by its name."""
    check_names(findings, tables, key)
    read: dict[str, SectionT] = {}
    for name, raw in tables.items():
        table = findings.read(table_for(raw), raw, (*key, name), known)
        if table is not None:
            read[name] = table
    return read


def _read_alarms(
    findings: Findings, tables: Mapping[str, object], key: KeyPath, known: Known
) -> dict[str, AlarmSettings]:
    read: dict[str, AlarmSettings] = {}
    for name, raw in tables.items():
        settings = read_alarm(findings, name, raw, (*key, name), known)
        if settings is not None:
            read[name] = settings
    return read


def _hold_names_apart(findings: Findings, key: KeyPath, known: Known) -> None:
    """A sensor says by name where it is, so no two places may share one."""
    taken = dict.fromkeys((OUTDOORS, SHELTER), "a place of every depot")
    for kind, names in (
        ("vessels", known.vessels),
        ("pumps", known.pumps),
        ("valves", known.valves),
    ):
        for name in sorted(names):
            if name in taken:
                findings.add(
                    (*key, kind, name),
                    f"{written_name(name)} is already {taken[name]}",
                    "another name",
                )
            taken.setdefault(name, f"one of the {kind}")


def _hold_vessels_together(
    findings: Findings, key: KeyPath, vessels: Mapping[str, VesselTable]
) -> None:
    for kind in _ALONE:
        same = [name for name, table in vessels.items() if table.kind is kind]
        for name in same[1:]:
            findings.add(
                (*key, "vessels", name, "kind"),
                f"{written_name(same[0])} is the {kind.value} already",
                'one of each but storage; a further tank is kind = "storage"',
            )


def _hold_probes_inside(
    findings: Findings,
    key: KeyPath,
    sensors: Mapping[str, SensorTable],
    vessels: Mapping[str, VesselTable],
    known: Known,
) -> None:
    for name, sensor in sensors.items():
        where = (*key, "sensors", name, "mounted")
        vessel = vessels.get(sensor.at)
        says = "the probe ({}) sits"
        if vessel is not None and sensor.mounted_m >= vessel.brim_m:
            findings.add(where, *_above_brim(says, sensor.mounted_m, vessel.brim_m, known))


def _hold_suctions_inside(
    findings: Findings,
    key: KeyPath,
    pumps: Mapping[str, PumpTable],
    vessels: Mapping[str, VesselTable],
    known: Known,
) -> None:
    for name, pump in pumps.items():
        where = (*key, "pumps", name, "suction")
        vessel = vessels.get(pump.draws_from)
        says = "the suction ({}) is"
        if vessel is not None and pump.suction_m >= vessel.brim_m:
            findings.add(where, *_above_brim(says, pump.suction_m, vessel.brim_m, known))


def _above_brim(says: str, height_m: float, brim_m: float, known: Known) -> tuple[str, str]:
    """What is wrong with a height, and what was expected."""
    height, brim = (level(one, known.us_units) for one in (height_m, brim_m))
    return f"{says.format(height)} above the brim ({brim})", "a height inside the vessel"
