"""What a person reads of an alarm: who, what, how bad, since when, how long, what to do.

A text is one GSM 03.38 segment. What the decision hangs on is always in it; place and time are
left out first where the words are many.
"""

from datetime import date

from brineward.alarms.catalogue import AlarmRecord
from brineward.alarms.condition import Verdict
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, local_from_instant
from brineward.wording.gsm import Part, fit_segment, shortened, to_gsm
from brineward.wording.operator_units import duration, level, measured, percent, temperature

_FIRST_WORDS = 16
"""So many letters of a long depot's name are enough to know it by."""


def code(plan: DepotPlan, number: int) -> str:
    """What a person takes an alarm by: the depot's letters and the occurrence's number."""
    return f"{plan.short}{number}"


def clock_time(plan: DepotPlan, instant: Instant, now: Instant) -> str:
    """The depot's wall clock, with the day where it is not today."""
    then, today = local_from_instant(instant, plan.zone), local_from_instant(now, plan.zone)
    return then.strftime("%H:%M") if _same_day(then.date(), today.date()) else f"{then:%a %H:%M}"


def _same_day(a: date, b: date) -> bool:
    return a == b


_HEADLINES = {
    "overflow-ahead": "{tank} near overflow",
    "shelter-freezing": "{source} near freezing",
    "brine-weak": "{tank}'s brine weak",
    "brine-strong": "{tank}'s brine strong",
    "strength-unknown": "{tank}'s {unknown}",
    "probe-drifted": "{tank}: {told}",
    "witnesses-part": "{tank}: {told}",
    "depot-silent": "nothing readable heard from the depot",
    "link-lost": "no link to the broker",
    "sensor-silent": "{source} is silent",
    "sensor-implausible": "{source} is not believable: {bad}",
    "texts-failing": "texts to {person} fail: {told}",
    "clock-wrong": "{told}",
    "disk-low": "{told}",
    "records-damaged": "{told}",
}


_UNKNOWN = {
    "probe-dry": "probe reads dry",
    "slush": "probe reads slush",
    "above-saturation": "probe reads more than any brine",
    "not-brine": "probe reads more than any brine",
}
_UNKNOWN_OTHERWISE = "strength can't be told"


def headline(plan: DepotPlan, record: AlarmRecord, source: str, verdict: Verdict) -> str:
    """What is wrong, in a few words and without numbers."""
    facts = {"bad": "", "told": "", **verdict.facts}
    if record.id == "closed-valve":
        if "valve" in facts:
            return f"{source} runs against closed {facts['valve']}"
        return f"{source} runs but no level falls: valve or hose shut?"
    if record.id == "sensor-implausible" and "shows" in facts:
        return f"{source} {_shown(plan, verdict)}"
    return _HEADLINES[record.id].format(
        source=source,
        tank=source if source.endswith("tank") else f"{source} tank",
        person=plan.duty.names.get(source, source),
        unknown=_UNKNOWN.get(str(facts.get("reason")), _UNKNOWN_OTHERWISE),
        told=facts["told"],
        bad=facts["bad"],
    )


def _shown(plan: DepotPlan, verdict: Verdict) -> str:
    """What a sensor's course shows of it."""
    facts = verdict.facts
    match facts["shows"]:
        case "stuck":
            return f"is stuck at {measured(verdict.value or 0.0, verdict.unit, plan.us_units)}"
        case "spiking":
            return f"spikes: {facts['count']} of its last {facts['of']} readings are wild"
        case _:
            return str(facts["bad"])


def how_bad(plan: DepotPlan, record: AlarmRecord, verdict: Verdict) -> str:
    """The number against its limit, in the operator's units; empty where there is none."""
    value, limit = verdict.value, verdict.limit
    if value is None or limit is None:
        return ""
    us = plan.us_units
    match record.id:
        case "overflow-ahead":
            return f"{level(value, us)} (limit {level(limit, us).split()[0]})"
        case "shelter-freezing":
            return f"{temperature(value, us)} (limit {temperature(limit, us).split()[0]})"
        case "brine-weak" | "brine-strong":
            low, high = float(verdict.facts["low"]), float(verdict.facts["high"])
            between = f"{percent(low)}-{percent(high)}"
            return f"{percent(value)} % ({between}; limit {percent(limit)})"
        case _:
            return ""


def time_left(plan: DepotPlan, record: AlarmRecord, verdict: Verdict) -> str:
    """How long there is to act, where it can be forecast."""
    facts = verdict.facts
    if record.id == "overflow-ahead" and "seconds_to_brim" in facts:
        seconds = float(facts["seconds_to_brim"])
        return f"brim in {duration(seconds)}" if seconds >= 1 else "at the brim"
    if record.id == "shelter-freezing" and "seconds_to_zero" in facts:
        seconds = float(facts["seconds_to_zero"])
        freezing = temperature(0.0, plan.us_units)
        return f"{freezing} in {duration(seconds)}" if seconds > 0 else "freezing now"
    return ""


def sentence(plan: DepotPlan, record: AlarmRecord, source: str, verdict: Verdict) -> str:
    """One line for a log or a status page."""
    pieces = [
        headline(plan, record, source, verdict),
        how_bad(plan, record, verdict),
        time_left(plan, record, verdict),
    ]
    if record.id == "strength-unknown":
        pieces.append(str(verdict.facts.get("told", "")))
    return ", ".join(piece for piece in pieces if piece)


def _ended(piece: str) -> str:
    """A piece with its stop, where it has none of its own."""
    return piece if not piece or piece.endswith(("?", ".", "!")) else f"{piece}."


def _place(plan: DepotPlan, *, rank: int, before: str = "") -> Part:
    """The depot's name: the whole of it, or its first words."""
    first_words = shortened(to_gsm(plan.name), _FIRST_WORDS)
    return Part(
        text=f"{before}{plan.name}:",
        rank=rank,
        shorter=(f"{before}{first_words}:",),
        full_rank=rank + 2,
        name=True,
    )


def raised_text(
    plan: DepotPlan,
    record: AlarmRecord,
    source: str,
    verdict: Verdict,
    *,
    number: int,
    since: Instant,
    now: Instant,
    again: bool = False,
) -> str:
    """The text that wakes somebody: at most 160 septets."""
    left = time_left(plan, record, verdict)
    bad = how_bad(plan, record, verdict)
    # A stuck sensor was wrong from its first repeat on, not only since it was found out.
    since = int(verdict.facts.get("since", since))
    mine = code(plan, number)
    if plan.duty.replies:
        take = f"Reply {mine} to take it."
        short_take: tuple[str, ...] = (f"Reply {mine}",)
    else:
        take = f"Take: brineward take {mine}"
        short_take = (f"brineward take {mine}", f"Take {mine}")
    return fit_segment(
        [
            Part(text=f"{mine} AGAIN" if again else mine, rank=0),
            _place(plan, rank=2),
            Part(text=_ended(headline(plan, record, source, verdict)), rank=0),
            Part(text=_ended(bad), rank=1),
            Part(text=_ended(f"{left[:1].upper()}{left[1:]}"), rank=1),
            Part(text=f"Since {clock_time(plan, since, now)}.", rank=3),
            Part(text=record.text_response, rank=0),
            Part(text=take, rank=0, shorter=short_take, full_rank=4),
        ]
    )


def over_text(
    plan: DepotPlan,
    record: AlarmRecord,
    source: str,
    verdict: Verdict,
    *,
    number: int,
    since: Instant,
    now: Instant,
) -> str:
    """The text that says an alarm is over: at most 160 septets."""
    began, ended = clock_time(plan, since, now), clock_time(plan, now, now)
    return fit_segment(
        [
            Part(text=f"{code(plan, number)} over", rank=0),
            _place(plan, rank=2, before="at "),
            Part(text=headline(plan, record, source, verdict), rank=0),
            Part(text=f"{began}-{ended}.", rank=1),
            Part(text=record.text_afterwards, rank=0),
        ]
    )


def taken_text(
    plan: DepotPlan, record: AlarmRecord, source: str, verdict: Verdict, *, number: int, by: str
) -> str:
    """The text that tells the others that somebody has it: at most 160 septets."""
    return fit_segment(
        [
            Part(text=f"{code(plan, number)} taken by", rank=0),
            Part(text=f"{by}.", rank=0, name=True),
            _place(plan, rank=2),
            Part(text=headline(plan, record, source, verdict), rank=1),
        ]
    )


def summary_text(plan: DepotPlan, *, codes: list[str], since: Instant, now: Instant) -> str:
    """The one text about what came and went while nothing came through."""
    came_and_went = f"{len(codes)} alarm{'s' if len(codes) > 1 else ''} came and went"
    return fit_segment(
        [
            _place(plan, rank=1),
            Part(text=f"late word from {clock_time(plan, since, now)} on.", rank=1),
            Part(
                text=f"{came_and_went}: {', '.join(codes)}.",
                shorter=(f"{came_and_went}.",),
                full_rank=2,
            ),
            Part(text="Look at the record before you rely on the plant.", rank=0),
        ]
    )
