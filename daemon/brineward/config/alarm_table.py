"""`[depots.X.alarms.Y]`: what the config changes in one alarm of the catalogue."""

from pydantic_core import PydanticCustomError

from brineward.alarms.record import AlarmRecord
from brineward.alarms.registry import CATALOGUE
from brineward.config.fields import Delay, quantity_in_si
from brineward.config.mistakes import KeyPath, not_among, shown
from brineward.config.sections import Findings, Known, Section, key, key_of
from brineward.plant.plan import AlarmSettings
from brineward.quantities import EXAMPLES


class AlarmTable(Section):
    """The settings of one alarm; its keys make an `AlarmSettings`."""

    limit: object = None
    on_delay_seconds: Delay | None = key(
        'how long it must last to be raised, such as "5 min"', "on_delay", default=None
    )
    off_delay_seconds: Delay | None = key(
        'how long it must be over to clear, such as "10 min"', "off_delay", default=None
    )
    deadband: object = None
    shelve_at_most_seconds: Delay | None = key(
        'how long it may be shelved at once, such as "8 h"; "0 s" for never',
        "shelve_at_most",
        default=None,
    )
    text_after_seconds: Delay | None = key_of(
        AlarmSettings,
        "text_after_seconds",
        'how long it is active before anybody is texted, such as "45 s"',
        "text_after",
    )
    enabled: bool = key_of(AlarmSettings, "enabled", "true or false")


def read_alarm(
    findings: Findings, alarm: str, raw: object, key: KeyPath, known: Known
) -> AlarmSettings | None:
    """The settings of one alarm, or None with its mistakes noted."""
    record = CATALOGUE.get(alarm)
    if record is None:
        findings.add(
            key, f"{shown(alarm)} is not an alarm known here", not_among(alarm, CATALOGUE, none="")
        )
        return None
    before = len(findings.mistakes)
    table = findings.read(AlarmTable, raw, key, known)
    limit = _quantity(findings, record, raw, key, "limit")
    deadband = _quantity(findings, record, raw, key, "deadband")
    if table is None or len(findings.mistakes) > before:
        return None
    return table.made(AlarmSettings, limit=limit, deadband=deadband)


def _quantity(
    findings: Findings, record: AlarmRecord, raw: object, key: KeyPath, name: str
) -> float | None:
    if not isinstance(raw, dict) or name not in raw:
        return None
    quantity = record.limit_quantity
    if quantity is None:
        findings.add((*key, name), f"{record.id} has no {name} to set", f"no {name}")
        return None
    is_deadband = name == "deadband"
    expected = f'a {quantity}, such as "{EXAMPLES[quantity]}"'
    if is_deadband:
        expected = f"a difference of {quantity} above 0, with its unit"
    try:
        value = quantity_in_si(raw[name], quantity, difference=is_deadband)
    except PydanticCustomError as refusal:
        findings.add((*key, name), refusal.message(), expected)
        return None
    if is_deadband and value <= 0:
        findings.add((*key, name), f"{shown(raw[name])} is not above 0", expected)
        return None
    return value
