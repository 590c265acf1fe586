"""A finding of every alarm and of each sort that it makes, as its condition gives it.

At the example depot, `config/tern-hollow.toml`, whose names and words are those of a real one.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

from brineward.alarms.closed_valve import Deadheaded
from brineward.alarms.condition import Explained, Finding
from brineward.alarms.fill_weak import WeakFill
from brineward.alarms.overflow_ahead import Overflow
from brineward.alarms.pump_left_running import LeftRunning
from brineward.alarms.registry import alarms_at, site_of
from brineward.alarms.salt_half import UnderHalf
from brineward.alarms.salt_low import SaltLow
from brineward.alarms.sensor_implausible import Implausible
from brineward.alarms.shelter_freezing import Cold
from brineward.alarms.strength_band import Strength
from brineward.alarms.strength_unknown import NoBrine
from brineward.book.book import BookedAlarm
from brineward.config.load import load_settings
from brineward.plant.following import NOT_IN_BRINE
from brineward.plant.idle_current import NO_CURRENT
from brineward.plant.plan import DepotPlan, Duty, Measure
from brineward.readings.instants import HOUR, MINUTE, Instant
from brineward.readings.outputs import AlarmState
from brineward.telling.wording import NOT_TAKEN, RETURNED, STILL, Wording
from brineward.wording.segment import segment
from depots import START, sensor

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
BEGAN = START - 3 * MINUTE
NUMBER = 12


class Case(NamedTuple):
    """A finding of an alarm."""

    alarm: str
    sort: str
    source: str
    finding: Finding

    @property
    def name(self) -> str:
        """As the golden file and the tests' names have it."""
        return f"{self.alarm}, {self.sort}" if self.sort else self.alarm


def deadheaded(hot_at: Instant | None, valve: str = "") -> Deadheaded:
    """By a switch, or by the level."""
    if valve:
        return Deadheaded(value=1.0, unit="1", valve=valve, hot_at=hot_at)
    return Deadheaded(value=1e-5, limit=6e-4, unit="m/s", hot_at=hot_at)


def overflow(value: float, seconds: float | None = None) -> Overflow:
    """A level of the main tank, m, and seconds to the brim."""
    return Overflow(value=value, limit=2.25, unit="m", seconds_to_brim=seconds)


def cold(value: float, seconds: float | None = None) -> Cold:
    """A temperature of the shelter, degC, and seconds to 0 degC."""
    return Cold(value=value, limit=3.0, unit="degC", seconds_to_zero=seconds)


def left_running(*, idle_hours: bool) -> LeftRunning:
    """For 72 minutes, of 67 at most."""
    return LeftRunning(
        value=4320.0, limit=4021.0, unit="s", began=START - 12 * MINUTE, idle_hours=idle_hours
    )


def salt_low(value: float, left: float | None, *, weekend: bool = False) -> SaltLow:
    """A bed of a hopper of 2 m, m, and the seconds that it lasts."""
    return SaltLow(
        value=value,
        limit=None if weekend else 0.45,
        unit="m",
        brine_m3=round(value * 13.75, 3),
        seconds_left=left,
        weekend=weekend,
    )


def stuck(value: float, unit: str) -> Implausible:
    """Since half an hour."""
    return Implausible(value=value, unit=unit, stuck_since=START - HOUR // 2)


DRY = "the probe reads 0.001 mS/cm, less than drinking water: it is dry, or disconnected"
SLUSH = (
    "31.2 mS/cm at -18.4 degC is weaker than brine that is liquid there: slush, or a probe out of "
    "the brine"
)
TOO_MUCH = (
    "391.0 mS/cm at 5.0 degC, where saturated brine conducts 155.0: no sodium chloride brine, or a "
    "fault of the probe"
)
GATEWAY = "channel phone: the gateway says 403 Forbidden"
NO_SECRET = "channel phone: the environment has no GATEWAY_TOKEN"
BOTH = "probe 21.6%, density 23.3%, probe fouled?"
EVERY_ALARM = (
    Case("closed-valve", "by switch", "pump", deadheaded(START + 7 * MINUTE, "hose-valve")),
    Case("closed-valve", "by switch, hot", "pump", deadheaded(BEGAN, "hose-valve")),
    Case("closed-valve", "by level", "pump", deadheaded(START + 7 * MINUTE)),
    Case("closed-valve", "by level, hot", "pump", deadheaded(BEGAN)),
    Case("closed-valve", "by level, pump not known", "pump", deadheaded(None)),
    Case("pump-left-running", "", "pump", left_running(idle_hours=False)),
    Case("pump-left-running", "idle hours", "pump", left_running(idle_hours=True)),
    Case("overflow-ahead", "rising", "main", overflow(2.286, 719.0)),
    Case("overflow-ahead", "at the limit", "main", overflow(2.253)),
    Case("overflow-ahead", "at the brim", "main", overflow(2.4, 0.0)),
    Case("overflow-ahead", "still", "main", overflow(2.32)),
    Case("shelter-freezing", "falling", "shelter", cold(4.41, 4320.0)),
    Case("shelter-freezing", "at the limit", "shelter", cold(2.96, 3600.0)),
    Case("shelter-freezing", "at zero", "shelter", cold(0.0, 0.0)),
    Case("shelter-freezing", "steady", "shelter", cold(2.1)),
    Case(
        "fill-weak",
        "",
        "main",
        WeakFill(value=0.1432, limit=0.22, unit="1", tank=0.2214, when_full=0.2033),
    ),
    Case("salt-low", "", "hopper", salt_low(0.412, 14 * 3600.0)),
    Case("salt-low", "use not known", "hopper", salt_low(0.103, None)),
    Case("salt-low", "before Monday", "hopper", salt_low(0.731, 41 * 3600.0, weekend=True)),
    Case("salt-half", "", "hopper", UnderHalf(value=0.524, limit=0.59, unit="m", full_m=1.18)),
    Case("brine-weak", "", "main", Strength(value=0.2014, limit=0.22, low=0.1873, high=0.2141)),
    Case(
        "brine-weak",
        "at the limit",
        "main",
        Strength(value=0.2197, limit=0.22, low=0.2083, high=0.2311),
    ),
    Case(
        "brine-weak",
        "never tested",
        "main",
        Strength(value=0.2014, limit=0.22, low=0.1873, high=0.2141, tested=False),
    ),
    Case("brine-strong", "", "main", Strength(value=0.2589, limit=0.25, low=0.2511, high=0.2634)),
    Case("strength-unknown", "dry", "main", NoBrine(reason="probe-dry", sentence=DRY)),
    Case("strength-unknown", "slush", "main", NoBrine(reason="slush", sentence=SLUSH)),
    Case("strength-unknown", "too much", "main", NoBrine(reason="not-brine", sentence=TOO_MUCH)),
    Case("strength-unknown", "other", "main", NoBrine(reason="out-of-range", sentence=DRY)),
    Case("probe-drifted", "", "main", Explained(why="probe and test disagree by 6.2 %")),
    Case(
        "probe-compensated",
        "",
        "main",
        Explained(why="probe reads as at 77 F whatever the cold"),
    ),
    Case(
        "probe-drifted",
        "at rest",
        "main",
        Explained(why="probe falls by 1.2 %, but no fill came"),
    ),
    Case("probe-drifted", "low", "main", Explained(why="probe reads 5.4 % low")),
    Case(
        "probe-drifted",
        "changed",
        "main",
        Explained(why="probe shifted, reads 4.5 % low"),
    ),
    Case("witnesses-part", "", "main", Explained(why=BOTH)),
    Case("link-lost", "", "broker", Explained(why="the connection was lost")),
    Case("depot-silent", "", "depot", Finding(value=80.0, limit=60.0, unit="s")),
    Case("sensor-silent", "", "main-level", Finding(value=130.0, limit=60.0, unit="s")),
    Case(
        "sensor-implausible", "", "main-level", Implausible(sends="its value is outside its range")
    ),
    Case("sensor-implausible", "no value", "main-level", Implausible(sends="it reports no value")),
    Case(
        "sensor-implausible",
        "unreadable",
        "main-level",
        Implausible(sends="what it sends can't be read"),
    ),
    Case("sensor-implausible", "stuck", "main-level", stuck(1.2345, "m")),
    Case("sensor-implausible", "stuck, in S/m", "main-conductivity", stuck(17.2, "S/m")),
    Case("sensor-implausible", "wild", "main-level", Implausible(spikes=6)),
    Case("sensor-implausible", "not in brine", "main-temperature", Implausible(shows=NOT_IN_BRINE)),
    Case(
        "sensor-implausible",
        "exchanged",
        "shelter-temperature",
        Implausible(shows="looks swapped with main tank thermometer"),
    ),
    Case("sensor-implausible", "no current", "pump-current", Implausible(shows=NO_CURRENT)),
    Case("clock-wrong", "sensor", "sensors", Explained(why="main level: its clock is off")),
    Case(
        "clock-wrong",
        "gateway",
        "sensors",
        Explained(why="main level: its clock or gateway is 15 min behind"),
    ),
    Case(
        "clock-wrong",
        "own",
        "watch",
        Explained(why="the watch's own clock was set ahead by 2 h"),
    ),
    Case("texts-failing", "", "yard", Explained(why=GATEWAY)),
    Case("texts-failing", "opted out", "yard", Explained(why="opted out of texts")),
    Case("channel-unusable", "", "watch", Explained(why=NO_SECRET)),
    Case("disk-low", "", "watch", Explained(why="190 MB left on the journal's disk")),
    Case(
        "records-damaged",
        "",
        "watch",
        Explained(why="the journal is damaged: row 7 of index by_time is missing"),
    ),
)


@cache
def example(*, us: bool, replies: bool) -> DepotPlan:
    """The example depot, with a density meter besides, so that it has every alarm."""
    its = next(iter(load_settings(CONFIG).depots.values()))
    meter = sensor("density", Measure.DENSITY, "main", low=900.0, high=1300.0)
    return replace(
        its,
        us_units=us,
        zone=ZoneInfo("America/Chicago"),
        sensors={**its.sensors, "density": meter},
        duty=replace(its.duty, replies=replies),
    )


def long_names(*, replies: bool) -> DepotPlan:
    """A depot, a person and letters as long as one may call them."""
    duty = Duty(
        on_call=("yard", "dispatch"),
        names={"yard": "The lead of the upper north yard", "dispatch": "Dispatch desk"},
        replies=replies,
    )
    name = "Wexmoor County Upper Tern Hollow North Yard"
    return replace(example(us=True, replies=replies), name=name, short="WXTH", duty=duty)


def booked(its: DepotPlan, case: Case) -> BookedAlarm:
    """The alarm of a depot as it is three minutes after it began."""
    [found] = [
        BookedAlarm(watch)
        for watch in alarms_at(site_of(its))
        if (watch.record.id, watch.condition.source) == (case.alarm, case.source)
    ]
    assert isinstance(case.finding, found.condition.finding)
    words = found.condition.words(case.finding, BEGAN)
    found.life.finding, found.life.since, found.life.number = case.finding, BEGAN, NUMBER
    found.life.past = words.past or words.headline
    found.life.active, found.life.acknowledged = True, False
    assert found.life.state is AlarmState.UNACKNOWLEDGED
    return found


def texts(its: DepotPlan, case: Case, *, number: int = NUMBER) -> Mapping[str, str]:
    """Each kind of text about it: as it is first raised, and later on."""
    one, wording = booked(its, case), Wording(its)
    later = START + 26 * HOUR
    notices = {
        "raised": wording.raised(one, number, START, known=""),
        "again": wording.raised(one, number, START, known=STILL),
        "returned": wording.raised(one, number, START, known=RETURNED),
        "to the second": wording.raised(one, number, START, known=NOT_TAKEN),
        "cleared": wording.cleared(one, number, later),
        "taken": wording.taken(one, number, "dispatch", later),
    }
    return {kind: segment(notice) for kind, notice in notices.items()}
