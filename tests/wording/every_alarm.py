"""One verdict of every alarm of the catalogue as its condition gives it, for the texts' tests."""

from brineward.plant.state import NO_CURRENT, NOT_IN_BRINE

from brineward.alarms.condition import Verdict
from brineward.readings.instants import MINUTE
from depots import START

SCREEN = "3 MB left on /var/lib/brineward"
EVERY_ALARM: tuple[tuple[str, str, str, Verdict], ...] = (
    ("closed-valve", "by switch", "pump", Verdict(True, 1.0, None, "1", {"valve": "hose-valve"})),
    (
        "closed-valve",
        "by level",
        "pump",
        Verdict(True, 1e-5, 6e-4, "m/s", {"drop": 1e-5, "expected": 6e-4}),
    ),
    (
        "overflow-ahead",
        "rising",
        "main",
        Verdict(True, 2.257, 2.25, "m", {"seconds_to_brim": 719.0}),
    ),
    (
        "overflow-ahead",
        "at the brim",
        "main",
        Verdict(True, 2.4, 2.25, "m", {"seconds_to_brim": 0.0}),
    ),
    ("overflow-ahead", "standing", "main", Verdict(True, 2.29, 2.25, "m")),
    (
        "shelter-freezing",
        "falling",
        "shelter",
        Verdict(True, 4.41, 3.0, "degC", {"seconds_to_zero": 4320.0}),
    ),
    (
        "shelter-freezing",
        "at zero",
        "shelter",
        Verdict(True, 0.0, 3.0, "degC", {"seconds_to_zero": 0.0}),
    ),
    ("shelter-freezing", "steady", "shelter", Verdict(True, 2.8, 3.0, "degC")),
    ("brine-weak", "", "main", Verdict(True, 0.2014, 0.22, "1", {"low": 0.1873, "high": 0.2141})),
    ("brine-strong", "", "main", Verdict(True, 0.2589, 0.25, "1", {"low": 0.2511, "high": 0.2634})),
    (
        "strength-unknown",
        "dry",
        "main",
        Verdict(
            True,
            facts={
                "told": "the probe reads 0.001 mS/cm, less than drinking water: it is dry, "
                "or disconnected",
                "reason": "probe-dry",
            },
        ),
    ),
    (
        "strength-unknown",
        "slush",
        "main",
        Verdict(
            True,
            facts={
                "told": "31.2 mS/cm at -18.4 degC is weaker than brine that is liquid there: "
                "slush, or a probe out of the brine",
                "reason": "slush",
            },
        ),
    ),
    (
        "strength-unknown",
        "too much",
        "main",
        Verdict(
            True,
            facts={
                "told": "391.0 mS/cm at 5.0 degC, where saturated brine conducts 155.0: no sodium "
                "chloride brine, or a fault of the probe",
                "reason": "not-brine",
            },
        ),
    ),
    (
        "probe-drifted",
        "",
        "main",
        Verdict(True, facts={"told": "probe and test are 6 % apart, a second test agrees"}),
    ),
    (
        "witnesses-part",
        "",
        "main",
        Verdict(
            True,
            facts={"told": "probe 21.6%, density 23.3%, probe fouled?"},
        ),
    ),
    ("link-lost", "", "broker", Verdict(True, facts={"told": "the connection was lost"})),
    ("depot-silent", "", "depot", Verdict(True, 80.0, 60.0, "s")),
    ("sensor-silent", "", "main-level", Verdict(True, 130.0, 60.0, "s")),
    (
        "sensor-implausible",
        "",
        "main-level",
        Verdict(True, facts={"bad": "its value is outside its range"}),
    ),
    (
        "sensor-implausible",
        "stuck",
        "main-level",
        Verdict(True, 1.2345, None, "m", {"shows": "stuck", "since": START - 3 * MINUTE}),
    ),
    (
        "sensor-implausible",
        "stuck, in S/m",
        "main-conductivity",
        Verdict(True, 17.2, None, "S/m", {"shows": "stuck", "since": START - 3 * MINUTE}),
    ),
    (
        "sensor-implausible",
        "spiking",
        "main-level",
        Verdict(True, facts={"shows": "spiking", "count": 6, "of": 200}),
    ),
    (
        "sensor-implausible",
        "not in the brine",
        "main-temperature",
        Verdict(True, facts={"shows": "contradicted", "bad": NOT_IN_BRINE}),
    ),
    (
        "sensor-implausible",
        "exchanged",
        "shelter-temperature",
        Verdict(
            True, facts={"shows": "contradicted", "bad": "seems exchanged with main-temperature"}
        ),
    ),
    (
        "sensor-implausible",
        "no current",
        "pump-current",
        Verdict(True, facts={"shows": "contradicted", "bad": NO_CURRENT}),
    ),
    (
        "clock-wrong",
        "",
        "sensors",
        Verdict(True, facts={"told": "main-level's readings come 15 min old"}),
    ),
    ("texts-failing", "", "yard", Verdict(True, facts={"told": "the gateway says 403 Forbidden"})),
    ("disk-low", "", "watch", Verdict(True, facts={"told": SCREEN})),
    (
        "records-damaged",
        "",
        "watch",
        Verdict(True, facts={"told": "page 7 of the journal is torn"}),
    ),
)
"""Alarm, what sort of it, source, verdict."""
