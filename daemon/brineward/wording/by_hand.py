"""Records by hand, in words: for an answer, a list and a report. Pure."""

from brineward.readings.by_hand import (
    BatchJudged,
    BlendSettings,
    ByHand,
    LoadTaken,
    Remark,
    SaltDelivered,
    Struck,
    Upkeep,
    WaterMeterRead,
)
from brineward.wording.operator_units import OperatorUnits, amount_of_salt


def sentence_of(record: ByHand, units: OperatorUnits) -> str:
    """What a record says, as one sentence in the depot's units."""
    match record:
        case LoadTaken():
            said = _load(record, units)
        case SaltDelivered():
            said = f"salt delivered, {amount_of_salt(record.mass_kg, units.us)}"
        case WaterMeterRead():
            said = f"water meter at {units.volume(record.volume_m3)}"
        case BatchJudged():
            verdict = "accepted" if record.accepted else "rejected"
            note = f": {record.note}" if record.note else ""
            said = f"{units.name_of(record.vessel)} batch {verdict}{note}"
        case BlendSettings():
            marks = ", ".join(f"{name} {mark:g}" for name, mark in record.marks)
            said = f"{units.name_of(record.vessel)} made with {marks}"
        case Upkeep() | Remark():
            said = f"{record.kind}: {record.note}"
        case Struck():
            said = "struck"
    return said if said.endswith(".") else f"{said}."


def _load(load: LoadTaken, units: OperatorUnits) -> str:
    said = [f"load of {units.volume(load.volume_m3)} from {units.name_of(load.vessel)}"]
    said += [f"truck {load.truck}"] if load.truck else []
    said += [f"driver {load.driver}"] if load.driver else []
    said += [f"to {load.destination}"] if load.destination else []
    return ", ".join(said)
