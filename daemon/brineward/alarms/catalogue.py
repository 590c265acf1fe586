"""The catalogue: every alarm that can be raised, rationalised, printed from what raises it.

One record an alarm, in the terms of ISA-18.2 / IEC 62682 clause 9 (rationalisation): causes,
consequence, response, time to respond, delays, deadband, priority, what it is suppressed by.
"""

from dataclasses import dataclass

from brineward.readings.outputs import Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRecord:
    """What is known of one alarm before it ever sounds."""

    id: str
    """Stable for ever: journals, configs and scripts name it."""
    title: str
    """Three words or so, for lists and the head of a text."""
    priority: Priority
    cause: str
    consequence: str
    response: str
    """What to do, in full; says what not to do."""
    text_response: str
    """The same for a text: the fewest words that are still safe."""
    text_afterwards: str = ""
    """What still holds when the condition is gone."""
    respond_within: str
    on_delay_seconds: float
    off_delay_seconds: float
    limit_quantity: str | None = None
    """What a limit in the config is a quantity of (`temperature`, ...); None where none is set."""
    limit: float | None = None
    """The limit that holds where the config sets none, SI; None where the plan gives it."""
    deadband: float = 0.0
    """How far back over the limit the value must come, SI."""
    basis: str = ""
    """Where limit and delays come from."""
    suppressed_by: tuple[str, ...] = ()
    """Alarms of the depot under which this one is a consequence and stays quiet."""


_RECORDS = (
    AlarmRecord(
        id="closed-valve",
        title="PUMP AGAINST CLOSED VALVE",
        priority=Priority.HIGH,
        cause="The pump was started before the hose valve was opened, the valve was shut before "
        "the pump was stopped, or a hose end is shut.",
        consequence="The liquid in the pump heats by several kelvin a minute; seals fail, and "
        "casings have burst after 20 to 40 minutes.",
        response="Stop the pump, then keep away until it is cold. Never open a valve on a hot "
        "pump. Have it looked at before it runs again.",
        text_response="STOP the pump, keep away till cold. Do NOT open the valve.",
        text_afterwards="The pump may still be hot: keep away, do NOT open the valve.",
        respond_within="5 minutes",
        on_delay_seconds=3.0,
        off_delay_seconds=30.0,
        basis="Heating: 1.5 kW of shut-off power into 5 L is about 4.6 K a minute (computed). "
        "The delay lets two switches that change together report in either order (common "
        "practice, no source). By level alone: under half of the slowest fall that the pump makes; "
        "not while a meter in its hose says that a quarter of its flow passes.",
    ),
    AlarmRecord(
        id="overflow-ahead",
        title="TANK NEAR OVERFLOW",
        priority=Priority.HIGH,
        cause="The float did not shut the fill, or a pump fills the tank with nobody there.",
        consequence="Brine runs over the brim into the containment, then wherever that leads.",
        response="Shut the supply to this tank by its hand valve from outside the containment. "
        "Then find out why the float did not. Do not climb on or into a tank.",
        text_response="Shut its supply from outside; don't climb on the tank.",
        respond_within="until the brim, as the text says",
        on_delay_seconds=15.0,
        off_delay_seconds=120.0,
        limit_quantity="length",
        deadband=0.02,
        basis="Fill mark and run-on of the tank as declared (5 cm under the brim where nothing "
        "fills it by itself), passed by the level's own noise; five minutes' forecast to the brim.",
    ),
    AlarmRecord(
        id="shelter-freezing",
        title="SHELTER NEAR FREEZING",
        priority=Priority.HIGH,
        cause="The heater failed or lost its power, or the door stands open.",
        consequence="Fresh-water lines, valves, small pipes and sight glasses freeze and burst "
        "before the tanks do.",
        response="Check door and heater. Bring safe heat, or drain the water lines. A tripped "
        "outlet is reset only by someone who sees it dry and sound.",
        text_response="Check door, heater; or drain lines. Don't reset power unseen.",
        respond_within="until 0 degC, as the text says",
        on_delay_seconds=300.0,
        off_delay_seconds=600.0,
        limit_quantity="temperature",
        limit=3.0,
        deadband=1.0,
        basis="3 degC leaves a margin over 0 degC for the sensor and for cold corners (common "
        "practice, no source). Before that: a fall as fast as the heater's usual rests, in the "
        "median of eleven minutes under the week's usual low, with a freeze in two hours by "
        "Newton's law of cooling; or a quarter of an hour's straight fall under that low, with a "
        "freeze in 75 minutes. Medians and the delay outlast a door opened for ten minutes.",
    ),
    AlarmRecord(
        id="brine-weak",
        title="BRINE WEAK",
        priority=Priority.MEDIUM,
        cause="Salt low in the hopper, too much fresh water in the blend, rain in the tank, or a "
        "probe that has fouled or drifted.",
        consequence="It freezes earlier, about 1 degC for each 0.6 % under 23.3 %, on the road "
        "and in the tank.",
        response="Do not load from this tank. Test by hydrometer, with the sample's temperature. "
        "Look at the salt in the hopper from outside.",
        text_response="Don't load. Test by hydrometer; look at the hopper's salt.",
        respond_within="before the next load",
        on_delay_seconds=180.0,
        off_delay_seconds=300.0,
        basis="The low end of the depot's strength band, passed by one standard uncertainty in "
        "the median of three minutes. A fill shows in the level within the delay, and then the "
        "tank is not judged, unless it was loaded from twice and has not stood since: then a "
        "median of ten minutes that is outside by two standard uncertainties and half a percent is "
        "told. On healthy storm nights such medians stayed 0.4 % or more inside (simulated).",
    ),
    AlarmRecord(
        id="brine-strong",
        title="BRINE STRONG",
        priority=Priority.MEDIUM,
        cause="Too little fresh water in the blend, or a probe or thermometer that is off.",
        consequence="Crystals drop in the cold, steeply above 23.3 %, and plug pumps, hoses and "
        "nozzles.",
        response="Do not load from this tank. Test by hydrometer, with the sample's temperature. "
        "Blend with fresh water when the test agrees.",
        text_response="Don't load. Test by hydrometer; add water if it agrees.",
        respond_within="before the next load",
        on_delay_seconds=180.0,
        off_delay_seconds=300.0,
        basis="The high end of the depot's strength band, passed by one standard uncertainty in "
        "the median of three minutes. A fill shows in the level within the delay, and then the "
        "tank is not judged, unless it was loaded from twice and has not stood since: then a "
        "median of ten minutes that is outside by two standard uncertainties and half a percent is "
        "told. On healthy storm nights such medians stayed 0.4 % or more inside (simulated).",
    ),
    AlarmRecord(
        id="strength-unknown",
        title="STRENGTH NOT KNOWN",
        priority=Priority.LOW,
        cause="The probe is dry, fouled or has air on it, the thermometer is off, or the tank is "
        "so cold that ice or crystals are in it.",
        consequence="Weak or strong brine is not noticed.",
        response="Test by hydrometer, with the sample's temperature. Clean the probe as its maker "
        "says; look for ice or crystals.",
        text_response="Test by hydrometer; clean the probe; look for ice or crystals.",
        respond_within="before the next load",
        on_delay_seconds=600.0,
        off_delay_seconds=300.0,
        basis="A covered probe in a standing tank that reads no brine there can be (common "
        "practice, no source, for the delay).",
        suppressed_by=("depot-silent", "link-lost"),
    ),
    AlarmRecord(
        id="probe-drifted",
        title="PROBE AND TEST PART",
        priority=Priority.LOW,
        cause="A film, scale or air on the probe, a thermometer that is off, or a test misread.",
        consequence="The strength is off, or known only within a wide range.",
        response="Test again by hydrometer, with the sample's temperature. Clean the probe as its "
        "maker says, and say so with the next test.",
        text_response="Test again by hydrometer; clean the probe, then test once more.",
        respond_within="the next working day",
        on_delay_seconds=0.0,
        off_delay_seconds=0.0,
        basis="A test four standard deviations from what the tests before let expect, a second "
        "one that agrees with one three off where the probe is 2 % off, or a probe 5 % off (common "
        "practice, no source, for the 2 and 5 %).",
    ),
    AlarmRecord(
        id="witnesses-part",
        title="CONDUCTIVITY AND DENSITY PART",
        priority=Priority.LOW,
        cause="A film or air on the probe, a thermometer that is off, or a density or pressure "
        "sensor that has moved.",
        consequence="The strength is known only within a wide range.",
        response="Test by hydrometer, with the sample's temperature: it says which of the two to "
        "believe. Clean the other as its maker says.",
        text_response="Test by hydrometer; clean the one that is off.",
        respond_within="the next working day",
        on_delay_seconds=1800.0,
        off_delay_seconds=1800.0,
        basis="Further apart than honest error would bring them once in twenty; half an hour "
        "outlasts a bubble (common practice, no source, for the delay).",
        suppressed_by=("depot-silent", "link-lost"),
    ),
    AlarmRecord(
        id="link-lost",
        title="NO LINK TO THE BROKER",
        priority=Priority.MEDIUM,
        cause="The broker is down, or the network between it and brineward.",
        consequence="No reading comes in: every alarm of this depot is blind.",
        response="See that the broker's machine and the network have power. Until then look at "
        "the depot by eye.",
        text_response="Depot unwatched: look at it by eye; check broker and network.",
        respond_within="1 hour",
        on_delay_seconds=300.0,
        off_delay_seconds=30.0,
        basis="A broker's restart takes under a minute (measured); five minutes is a fault.",
    ),
    AlarmRecord(
        id="depot-silent",
        title="DEPOT SILENT",
        priority=Priority.MEDIUM,
        cause="The gateway lost its power or its network, or its clock stands.",
        consequence="No reading comes in: every alarm of this depot is blind.",
        response="Look at the depot by eye. Check the gateway's power and network.",
        text_response="Depot unwatched: look at it by eye; check the gateway.",
        respond_within="1 hour",
        on_delay_seconds=20.0,
        off_delay_seconds=30.0,
        basis="No sensor has said anything readable for the shortest silence that any allows.",
        suppressed_by=("link-lost",),
    ),
    AlarmRecord(
        id="sensor-silent",
        title="SENSOR SILENT",
        priority=Priority.LOW,
        cause="Its cable, battery, radio or gateway input.",
        consequence="What it watches is blind.",
        response="Check its power and cable. Until it speaks, look at what it watches by eye.",
        text_response="Check its power and cable; look by eye till it speaks.",
        respond_within="the next working morning, or at once where it blinds a high alarm",
        on_delay_seconds=60.0,
        off_delay_seconds=30.0,
        basis="Three missed readings and some seconds, or what the config says; the delay lets "
        "a silent depot be told as one alarm.",
        suppressed_by=("depot-silent", "link-lost"),
    ),
    AlarmRecord(
        id="sensor-implausible",
        title="SENSOR NOT BELIEVABLE",
        priority=Priority.LOW,
        cause="A broken sensor or cable, a wrong unit or payload, a probe in air; a sensor that is "
        "stuck or throws wild readings; a thermometer out of its brine; a current's clamp that "
        "has come off.",
        consequence="What it watches is blind; with wild readings it goes on.",
        response="Check sensor and cable; compare with a look, a dipstick or a thermometer.",
        text_response="Check sensor and cable; judge by eye till then.",
        respond_within="the next working morning, or at once where it blinds a high alarm",
        on_delay_seconds=90.0,
        off_delay_seconds=60.0,
        basis="Three unbelievable readings in a row, or eight of the last sixteen. Stuck: the same "
        "to the last digit for ten minutes, thirty readings, and more than four times the longest "
        "repeat of the last week; a sensor that seldom changes is not judged by that. Wild: six "
        "single readings of the last two hundred are off by more than 5 % of the range. Out of "
        "the brine: in a standing tank it jumps by 1 K in two minutes, or swings by 0.1 K in ten "
        "for an hour and more, and conductivity does a third at most of what brine's would. No "
        "current: a pump that runs and delivers a quarter of its flow for a minute shows less "
        "than four standard uncertainties of it. The delay lets a depot that sends nothing "
        "readable be told as one alarm.",
        suppressed_by=("depot-silent", "link-lost"),
    ),
    AlarmRecord(
        id="clock-wrong",
        title="CLOCK WRONG",
        priority=Priority.LOW,
        cause="The sensor's or gateway's clock is ahead, or was reset.",
        consequence="Its readings are judged by their arrival; late ones look new.",
        response="Set the clock of the sensor or gateway; check its time service.",
        text_response="Set its clock; check its time service.",
        respond_within="the next working morning",
        on_delay_seconds=60.0,
        off_delay_seconds=300.0,
        limit=120.0,
        basis="Two minutes ahead of our own clock cannot be a delay on the way.",
    ),
    AlarmRecord(
        id="texts-failing",
        title="TEXTS NOT GETTING THROUGH",
        priority=Priority.MEDIUM,
        cause="The text gateway is down or refuses, or the number is wrong or opted out.",
        consequence="The person is not woken by the next alarm.",
        response="Reach them another way; check gateway, credit and number.",
        text_response="They were NOT told: call them. Check the gateway.",
        respond_within="1 hour",
        on_delay_seconds=0.0,
        off_delay_seconds=0.0,
        basis="A text that could not be handed over within its channel's set time.",
    ),
    AlarmRecord(
        id="disk-low",
        title="DISK NEARLY FULL",
        priority=Priority.LOW,
        cause="Readings, logs or other programs fill the disk.",
        consequence="The oldest raw readings are thinned; with no room left nothing is kept.",
        response="Make room on the machine or move a backup away.",
        text_response="Make room on the watch's machine.",
        respond_within="the next working day",
        on_delay_seconds=60.0,
        off_delay_seconds=60.0,
        basis="The free space that the config says.",
    ),
    AlarmRecord(
        id="records-damaged",
        title="RECORDS DAMAGED",
        priority=Priority.MEDIUM,
        cause="A power cut, a failing disk or card.",
        consequence="Records may be lost; the watch goes on.",
        response="Take a backup at once, and replace the disk or card.",
        text_response="Take a backup; replace the disk or card.",
        respond_within="the next working day",
        on_delay_seconds=0.0,
        off_delay_seconds=60.0,
        basis="SQLite's own integrity check.",
    ),
)

CATALOGUE = {record.id: record for record in _RECORDS}
"""Every alarm by its id, the gravest first."""
