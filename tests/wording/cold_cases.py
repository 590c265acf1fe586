"""A finding of each sort of the alarms of the cold: shelter, heater, brine that freezes."""

from dataclasses import replace

from brineward.alarms.brine_freezing import Freezing
from brineward.alarms.cold_causes import DOOR_SHUT, HEATER_OFF, MAINS_LOST, NO_POWER
from brineward.alarms.heater_failed import NoHeat
from brineward.alarms.shelter_freezing import Cold
from brineward.readings.instants import MINUTE
from depots import START
from wording.a_case import Case


def cold(
    value: float,
    seconds: float | None = None,
    *,
    cause: str = "",
    door_open: bool = False,
    brine: float | None = None,
) -> Cold:
    """A temperature of the shelter, degC, seconds to 0 degC, and what is known besides."""
    return Cold(
        value=value,
        limit=3.0,
        unit="degC",
        seconds_to_zero=seconds,
        cause=cause,
        door_open=door_open,
        brine_freezes_c=brine,
        tonight_c=-12.6,
    )


def shelter(sort: str, finding: Cold) -> Case:
    """Of a shelter near freezing."""
    return Case("shelter-freezing", sort, "shelter", finding)


def no_heat(shown_by: str, value: float | None, seconds: float | None = None) -> NoHeat:
    """A heater that doesn't heat, the shelter's temperature in degC, and seconds to 0 degC."""
    return NoHeat(value=value, unit="degC", shown_by=shown_by, seconds_to_zero=seconds)


def freezing(value: float, *, outdoors: bool, tonight: float | None = None) -> Freezing:
    """How cold it is there, degC, for brine of 18.4 % that may freeze from -14 on."""
    return Freezing(
        value=value,
        limit=-14.0,
        unit="degC",
        outdoors=outdoors,
        mass_fraction=0.184,
        tonight_c=tonight,
    )


LEFT_OPEN = replace(cold(2.96, 3600.0, door_open=True), door_since=START - 23 * MINUTE)
COLD_CASES = (
    shelter("falling", cold(4.41, 4320.0)),
    shelter("falling, at its limit", cold(2.96, 3600.0)),
    shelter("at the limit", cold(2.96)),
    shelter("at zero", cold(0.0, 0.0)),
    shelter("steady", cold(2.1)),
    shelter("warming", cold(3.6)),
    shelter("below, brine known", cold(-2.0, 0.0, brine=-19.6)),
    shelter("door open", LEFT_OPEN),
    shelter("door shut", cold(4.41, 4320.0, cause=DOOR_SHUT)),
    shelter("mains lost", cold(7.8, 4320.0, cause=MAINS_LOST)),
    shelter("no power", cold(7.8, 4320.0, cause=NO_POWER)),
    shelter("no power, door open", cold(4.41, 3600.0, cause=NO_POWER, door_open=True)),
    shelter("mains lost, door open", cold(4.41, 3600.0, cause=MAINS_LOST, door_open=True)),
    shelter("heater off", cold(4.41, 4320.0, cause=HEATER_OFF)),
    shelter("heater off, door open", cold(4.41, 3600.0, cause=HEATER_OFF, door_open=True)),
    shelter("below, door open", cold(-2.0, 0.0, brine=-19.6, door_open=True)),
    shelter("below, mains lost", cold(-2.0, 0.0, brine=-19.6, cause=MAINS_LOST)),
    Case("heater-failed", "no power", "heater", no_heat("supply", 9.8, 4320.0)),
    Case("heater-failed", "no power, nothing measured", "heater", no_heat("supply", None)),
    Case("heater-failed", "does not run", "heater", no_heat("contact", 6.4)),
    Case("heater-failed", "no current", "heater", no_heat("clamp", -0.4, 0.0)),
    Case("brine-freezing", "tank", "main", freezing(-13.6, outdoors=False)),
    Case("brine-freezing", "outdoors", "main", freezing(-15.2, outdoors=True)),
    Case(
        "brine-freezing",
        "tank, tonight known",
        "main",
        freezing(-13.6, outdoors=False, tonight=-21.4),
    ),
    Case(
        "brine-freezing",
        "outdoors, tonight known",
        "main",
        freezing(-15.2, outdoors=True, tonight=-18.2),
    ),
)
