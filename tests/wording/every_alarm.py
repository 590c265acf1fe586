"""A finding of every alarm and of each sort that it makes, as its condition gives it.

At the example depot, `config/tern-hollow.toml`, whose names and words are those of a real one.
"""

from dataclasses import replace
from pathlib import Path

from brineward.alarms.batch_untested import UntestedBatch
from brineward.alarms.closed_valve import Deadheaded
from brineward.alarms.condition import Explained, Finding
from brineward.alarms.containment_wet import Source, Wet
from brineward.alarms.dangers_unwatched import NobodyWatches
from brineward.alarms.fill_weak import WeakFill
from brineward.alarms.line_leak import LineLeak
from brineward.alarms.mains_lost import PowerLost
from brineward.alarms.mode_doubtful import Doubtful
from brineward.alarms.not_filling import NotFilling
from brineward.alarms.outlet_dead import Dead
from brineward.alarms.overflow_ahead import Overflow
from brineward.alarms.pump_dry import RunningDry
from brineward.alarms.pump_left_running import LeftRunning
from brineward.alarms.readings_missing import Missing
from brineward.alarms.rota_old import Unread
from brineward.alarms.salt_half import UnderHalf
from brineward.alarms.salt_low import SaltLow
from brineward.alarms.sensor_implausible import Implausible
from brineward.alarms.sensor_silent import Silent
from brineward.alarms.sensors_disagree import Apart
from brineward.alarms.strength_band import Strength
from brineward.alarms.strength_unknown import NoBrine
from brineward.alarms.tank_leak import Leak, SaltLost, WaterLost
from brineward.alarms.uplift import Uplift
from brineward.plant.contradicted_switches import SAYS_RUNNING, SAYS_SHUT, SAYS_STOPPED
from brineward.plant.following import NOT_IN_BRINE
from brineward.plant.idle_current import NO_CURRENT
from brineward.plant.left_open import STAYS_OPEN
from brineward.plant.mode_fit import What
from brineward.readings.instants import HOUR, MINUTE, Instant
from brineward.readings.outputs import Priority
from depots import START
from wording.a_case import Case
from wording.cold_cases import COLD_CASES

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
BEGAN = START - 3 * MINUTE
NUMBER = 12


def deadheaded(hot_at: Instant | None, valve: str = "", beside: str = "") -> Deadheaded:
    """By a switch, or by the level."""
    if valve:
        return Deadheaded(value=1.0, unit="1", valve=valve, hot_at=hot_at)
    return Deadheaded(value=1e-5, limit=6e-4, unit="m/s", beside=beside, hot_at=hot_at)


def untested(made_m3: float, hours: float, *, first: bool = False) -> UntestedBatch:
    """So much was made since the last test, m3, and a test is wanted for so many hours."""
    since = START - round(hours * HOUR)
    return UntestedBatch(value=made_m3, unit="m3", since=since, first=first)


def overflow(value: float, seconds: float | None = None) -> Overflow:
    """A level of the main tank, m, and seconds to the brim."""
    return Overflow(value=value, limit=2.25, unit="m", seconds_to_brim=seconds)


def left_running(*, idle_hours: bool) -> LeftRunning:
    """For 72 minutes, of 67 at most."""
    return LeftRunning(
        value=4320.0, limit=4021.0, unit="s", began=START - 12 * MINUTE, idle_hours=idle_hours
    )


def doubtful(mode: str, what: What, place: str) -> Doubtful:
    """What does not fit this mode, since ten minutes."""
    return Doubtful(mode=mode, what=what, place=place, began=START - 10 * MINUTE)


def power_lost(*, likely: bool, frost: bool) -> PowerLost:
    """Three minutes ago."""
    return PowerLost(since=BEGAN, likely=likely, frost=frost)


def dry(by: str, value: float, limit: float, unit: str) -> RunningDry:
    """By one of its sorts of evidence."""
    return RunningDry(by=by, value=value, limit=limit, unit=unit)


def silent(blinds: str) -> Silent:
    """For 130 s, of 60 at most, and what that leaves unwatched."""
    return Silent(value=130.0, limit=60.0, unit="s", blinds=blinds)


def missing(dangers: str) -> NobodyWatches:
    """Unwatched for an hour for want of a level."""
    why = "main level is implausible"
    return NobodyWatches(value=2.0, dangers=dangers, why=why, since=START - HOUR)


def salt_low(
    value: float, left: float | None, *, weekend: bool = False, kg: float | None = None
) -> SaltLow:
    """A bed of a hopper of 2 m, m, and the seconds that it lasts."""
    return SaltLow(
        value=value,
        limit=None if weekend else 0.42,
        unit="m",
        brine_m3=round(value * 13.75, 3),
        seconds_left=left,
        weekend=weekend,
        left_kg=kg,
    )


def stuck(value: float, unit: str) -> Implausible:
    """Since half an hour."""
    return Implausible(value=value, unit=unit, stuck_since=START - HOUR // 2)


def uplift(outside: float, inside: float, left: float | None, *, falls: bool) -> Uplift:
    """Of the main tank, which the liquid outside lifts from 4.9 cm up when it is empty."""
    return Uplift(
        value=outside,
        limit=round(0.0549 + inside / 1.207, 3),
        unit="m",
        inside_m=inside,
        floats_below_m=round(1.207 * (outside - 0.0549), 3),
        falls=falls,
        seconds_left=left,
    )


def wet(value: float, source: Source, gain: float | None = None) -> Wet:
    """A level of the containment, m, and how fast it gains, L/h."""
    seconds = None if gain is None else 3600.0 * (0.6 - value) * 20330.0 / gain
    return Wet(
        value=value,
        limit=0.014,
        unit="m",
        volume_m3=20.33 * value,
        source=source,
        tank={"tank": "main", "over": "hopper"}.get(source, ""),
        gain_m3_per_s=None if gain is None else gain / 3.6e6,
        seconds_to_rim=seconds,
        at_rim=value >= 0.6,
        priority=Priority.HIGH if seconds is not None and seconds < 7200.0 else None,
    )


def leak(rate: float, lost: float, hours: float) -> Leak:
    """So many m3 an hour, m3 in all, in so many hours of standing."""
    began = START - round(hours * HOUR)
    return Leak(
        value=rate, unit="m3/h", began=began, fell_m=lost / 4.52, lost_m3=lost, stood_hours=hours
    )


SALT = SaltLost(value=0.0272, unit="m3/h", began=START - 80 * HOUR, fell_m=0.16, stood_hours=80.0)
WET = WaterLost(value=0.0199, unit="m3/h", began=START - 11 * HOUR, lost_m3=0.209, stood_hours=10.5)
DRY = "the probe reads 0.001 mS/cm, less than drinking water: it is dry, or disconnected"
SLUSH = (
    "31.2 mS/cm at -18.4 degC is weaker than brine that is liquid there: slush, or a probe out of "
    "the brine"
)
TOO_MUCH = (
    "391.0 mS/cm at 5.0 degC, where saturated brine conducts 155.0: no sodium chloride brine, or a "
    "fault of the probe"
)
GATEWAY = "channel phone answered 403: Forbidden"
UNHEARD = "replies by text are not heard: the broker does not answer"
NO_RECEIPTS = "channel phone gave no receipt of 2 texts in a row"
UNSYNCED = "no time server keeps the brineward box's clock"
BEHIND = "export agency: server took nothing for a day"
OPTED_OUT = "they texted STOP (START undoes it)"
NO_SECRET = (
    "No text goes out by channel phone: the environment variable GATEWAY_TOKEN is not set; set it "
    "where the service starts."
)
BOTH = "probe 21.6%, density 23.3%, probe fouled?"
LINE_LEAK = LineLeak(
    value=0.724, unit="m3", began=START - 6 * HOUR, loads=2, drawn_m3=2.797, metered_m3=2.073
)
NOT_FILLING = NotFilling(value=1.76, limit=2.2, unit="m", began=START - HOUR, left_m3=7.962)
EVERY_ALARM = (
    Case("closed-valve", "by switch", "pump", deadheaded(START + 7 * MINUTE, "hose-valve")),
    Case("closed-valve", "by switch, hot", "pump", deadheaded(BEGAN, "hose-valve")),
    Case("closed-valve", "by level", "pump", deadheaded(START + 7 * MINUTE)),
    Case("closed-valve", "by level, hot", "pump", deadheaded(BEGAN)),
    Case("closed-valve", "by level, pump not known", "pump", deadheaded(None)),
    Case(
        "closed-valve", "one of two", "pump", deadheaded(START + 7 * MINUTE, beside="second-pump")
    ),
    Case("pump-dry", "by current", "pump", dry("current", 4.69, 12.88, "A")),
    Case("pump-dry", "by pressure", "pump", dry("pressure", 7500.0, 61000.0, "Pa")),
    Case("pump-dry", "at the suction", "pump", dry("level", 0.083, 0.08, "m")),
    Case("pump-dry", "by meter", "pump", dry("flow", 0.0, 0.0, "m3/s")),
    Case("mains-lost", "", "mains", power_lost(likely=False, frost=False)),
    Case("mains-lost", "in frost", "mains", power_lost(likely=False, frost=True)),
    Case("mains-lost", "likely", "mains", power_lost(likely=True, frost=True)),
    Case("outlet-dead", "", "pump", Dead(mains_known=True)),
    Case("outlet-dead", "mains not known", "pump", Dead(mains_known=False)),
    Case("switch-contradicted", "valve", "hose-valve-open", Explained(why=SAYS_SHUT)),
    Case("switch-contradicted", "stays open", "hose-valve-open", Explained(why=STAYS_OPEN)),
    Case("switch-contradicted", "says running", "pump-running", Explained(why=SAYS_RUNNING)),
    Case("switch-contradicted", "says stopped", "pump-running", Explained(why=SAYS_STOPPED)),
    Case(
        "sensors-disagree",
        "",
        "main-level-2",
        Apart(value=0.11, limit=0.0195, unit="m", first=1.52, other=1.41),
    ),
    Case("pump-left-running", "", "pump", left_running(idle_hours=False)),
    Case("pump-left-running", "idle hours", "pump", left_running(idle_hours=True)),
    Case("uplift", "drained", "main", uplift(0.14, 0.56, 2100.0, falls=True)),
    Case("uplift", "rising", "main", uplift(0.041, 0.03, 5400.0, falls=False)),
    Case("uplift", "nothing moves", "main", uplift(0.066, 0.03, None, falls=False)),
    Case("uplift", "afloat", "main", uplift(0.14, 0.03, 0.0, falls=True)),
    Case("containment-wet", "a tank", "containment", wet(0.0141, "tank", 8200.0)),
    Case("containment-wet", "a brim", "containment", wet(0.33, "over", 2950.0)),
    Case("containment-wet", "rain", "containment", wet(0.0153, "rain", 118.0)),
    Case("containment-wet", "cold", "containment", wet(0.0172, "cold", 40.0)),
    Case("containment-wet", "brine", "containment", wet(0.0172, "brine", 300.0)),
    Case("containment-wet", "brine soon at the rim", "containment", wet(0.5, "brine", 2000.0)),
    Case("containment-wet", "water", "containment", wet(0.0172, "water", 300.0)),
    Case("containment-wet", "not known", "containment", wet(0.102, "")),
    Case("containment-wet", "at its rim", "containment", wet(0.604, "rain", 30.0)),
    Case("overflow-ahead", "rising", "main", overflow(2.286, 719.0)),
    Case("overflow-ahead", "at the limit", "main", overflow(2.253)),
    Case("overflow-ahead", "at the brim", "main", overflow(2.4, 0.0)),
    Case("overflow-ahead", "still", "main", overflow(2.32)),
    Case("tank-leak", "", "main", leak(0.0192, 0.154, 8.0)),
    Case("tank-leak", "slow", "main", leak(0.0019, 0.09, 47.5)),
    Case("tank-leak", "fast", "main", leak(1.23, 1.48, 1.2)),
    Case("tank-leak", "like its pump", "main", replace(leak(10.2, 1.02, 0.1), like_pump="pump")),
    Case("tank-leak", "by its salt", "hopper", SALT),
    Case("tank-leak", "by its water", "hopper-water", WET),
    Case("line-leak", "", "pump", LINE_LEAK),
    Case("not-filling", "", "main", NOT_FILLING),
    *COLD_CASES,
    Case(
        "fill-weak",
        "",
        "main",
        WeakFill(value=0.1432, limit=0.22, unit="1", tank=0.2214, when_full=0.2033),
    ),
    Case("salt-low", "", "hopper", salt_low(0.412, 14 * 3600.0)),
    Case("salt-low", "use not known", "hopper", salt_low(0.103, None)),
    Case("salt-low", "before Monday", "hopper", salt_low(0.731, 41 * 3600.0, weekend=True)),
    Case("salt-low", "by deliveries", "hopper", salt_low(0.412, 14 * 3600.0, kg=1390.0)),
    Case(
        "salt-half",
        "by deliveries",
        "hopper",
        UnderHalf(value=0.524, limit=0.59, unit="m", full_m=1.18, full_kg=2496.0),
    ),
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
        "may freeze tonight",
        "main",
        Strength(
            value=0.2014, limit=0.22, low=0.1873, high=0.2141, freezes_c=-14.4, tonight_c=-18.2
        ),
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
    Case("probe-drifted", "", "main", Explained(why="probe and test disagree by 4.1 % salt")),
    Case(
        "probe-compensated",
        "",
        "main",
        Explained(why="probe reads as if at 77 F whatever the cold"),
    ),
    Case("probe-drifted", "at rest", "main", Explained(why="probe fell 1.2 % with nothing added")),
    Case(
        "probe-drifted",
        "stands",
        "main",
        Explained(why="probe reads 2.1 % lower with nothing added"),
    ),
    Case("probe-drifted", "film", "main", Explained(why="film grows on the probe, 2.1 % a month")),
    Case("probe-drifted", "low", "main", Explained(why="probe reads 5.4 % low")),
    Case(
        "probe-drifted",
        "at once",
        "main",
        Explained(why="probe down 3.3 %, film or weak brine", priority=Priority.MEDIUM),
    ),
    Case(
        "probe-drifted",
        "slowly",
        "main",
        Explained(why="probe slowly down 0.9 %, film or weak brine", priority=Priority.MEDIUM),
    ),
    Case("probe-drifted", "changed", "main", Explained(why="probe shifted, reads 4.5 % low")),
    Case("strengths-disagree", "", "main", Explained(why=BOTH)),
    Case("mode-doubtful", "fills", "depot", doubtful("laid up", "fills", "main")),
    Case("mode-doubtful", "runs", "depot", doubtful("standing by", "runs", "pump")),
    Case("mode-doubtful", "all empty", "depot", doubtful("in service", "all-empty", "")),
    Case("water-left-on", "", "main", Finding(value=1.42, unit="m")),
    Case("batch-untested", "", "main", untested(7.31, 75.0)),
    Case("batch-untested", "first", "main", untested(2.14, 0.5, first=True)),
    Case("liquid-when-laid-up", "", "containment", Finding(value=0.14, limit=0.05, unit="m")),
    Case("liquid-when-laid-up", "tank", "main", Finding(value=0.42, limit=0.1, unit="m")),
    Case("link-lost", "", "broker", Explained(why="the connection was lost")),
    Case(
        "readings-missing",
        "",
        "depot",
        Missing(
            value=11_840.0,
            unit="readings",
            first=START - 13 * HOUR,
            last=START - 20 * MINUTE,
            by_sensor="main level 120, pump 11720",
        ),
    ),
    Case("depot-silent", "", "depot", Finding(value=80.0, limit=60.0, unit="s")),
    Case("dangers-unwatched", "", "depot", missing("overflow and 1 more")),
    Case("dangers-unwatched", "several", "depot", missing("overflow, closed valve and 4 more")),
    Case("sensor-silent", "", "outdoor-temperature", silent("")),
    Case("sensor-silent", "blinding", "main-level", silent("overflow, closed valve and 4 more")),
    Case("sensor-implausible", "", "main-level", Implausible(sends="outside its range")),
    Case("sensor-implausible", "no value", "main-level", Implausible(sends="it sends no value")),
    Case(
        "sensor-implausible",
        "unreadable",
        "main-level",
        Implausible(sends="what it sends can't be read"),
    ),
    Case("sensor-implausible", "stuck", "main-level", stuck(1.2345, "m")),
    Case("sensor-implausible", "stuck, in S/m", "main-conductivity", stuck(17.2, "S/m")),
    Case(
        "sensor-implausible",
        "blinding",
        "main-level",
        replace(stuck(1.2345, "m"), blinds="overflow, closed valve and 4 more"),
    ),
    Case("sensor-implausible", "wild", "main-level", Implausible(spikes=6)),
    Case("sensor-implausible", "not in brine", "main-temperature", Implausible(shows=NOT_IN_BRINE)),
    Case(
        "sensor-implausible",
        "exchanged",
        "shelter-temperature",
        Implausible(shows="looks swapped with main tank thermometer"),
    ),
    Case("sensor-implausible", "no current", "pump-current", Implausible(shows=NO_CURRENT)),
    Case("clock-wrong", "sensor", "sensors", Explained(why="main level: its clock is wrong")),
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
        Explained(why="the brineward box's clock was set ahead by 2 h"),
    ),
    Case("texts-failing", "", "yard", Explained(why=GATEWAY)),
    Case("texts-failing", "opted out", "yard", Explained(why=OPTED_OUT)),
    Case("channel-unusable", "", "watch", Explained(why=NO_SECRET)),
    Case("drill", "", "watch", Explained(why="nothing is wrong")),
    Case("receipts-missing", "", "watch", Explained(why=NO_RECEIPTS)),
    Case("replies-unheard", "", "watch", Explained(why=UNHEARD)),
    Case("rota-old", "", "rota", Unread(value=183_600.0, unit="s")),
    Case("part-stopped", "", "watch", Explained(why="brineward: upkeep is stuck")),
    Case(
        "box-strained",
        "",
        "watch",
        Explained(why="brineward box: memory 437 of 512 MB, file handles 52 of 64"),
    ),
    Case("export-behind", "", "watch", Explained(why=BEHIND)),
    Case("clock-unsynced", "", "watch", Explained(why=UNSYNCED)),
    Case("disk-low", "", "watch", Explained(why="190 MB left on the journal's disk")),
    Case(
        "records-damaged",
        "",
        "watch",
        Explained(why="the journal is damaged: row 7 of index by_time is missing"),
    ),
)
