"""What a person reads of an alarm: who, what, how bad, since when, how long, what to do.

A text is one GSM 03.38 segment. What the decision hangs on is always in it; place and time are
left out first where the words are many.
"""

from datetime import date

from brineward.alarms.catalogue import AlarmRecord
from brineward.alarms.condition import Verdict
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, local_from_instant
from brineward.wording.gsm import Part, fit_segment
from brineward.wording.operator_units import duration, level, percent, temperature


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
    "overflow-ahead": "{source} tank near overflow",
    "shelter-freezing": "{source} near freezing",
    "brine-weak": "{source} tank's brine weak",
    "brine-strong": "{source} tank's brine strong",
    "strength-unknown": "{source} tank: {told}",
    "probe-drifted": "{source} tank: {told}",
    "depot-silent": "nothing readable heard from the depot",
    "link-lost": "no link to the broker",
    "sensor-silent": "{source} is silent",
    "sensor-implausible": "{source} is not believable: {bad}",
    "texts-failing": "texts to {source} fail: {told}",
    "clock-wrong": "{told}",
    "disk-low": "{told}",
    "records-damaged": "{told}",
}


def headline(record: AlarmRecord, source: str, verdict: Verdict) -> str:
    """What is wrong, in a few words and without numbers."""
    facts = {"bad": "", "told": "", **verdict.facts}
    if record.id == "closed-valve":
        if "valve" in facts:
            return f"{source} runs against closed {facts['valve']}"
        return f"{source} runs but no level falls: valve or hose shut?"
    return _HEADLINES[record.id].format(source=source, **facts)


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
        return f"brim in {duration(float(facts['seconds_to_brim']))}"
    if record.id == "shelter-freezing" and "seconds_to_zero" in facts:
        seconds = float(facts["seconds_to_zero"])
        freezing = temperature(0.0, plan.us_units)
        return f"{freezing} in {duration(seconds)}" if seconds > 0 else "freezing now"
    return ""


def sentence(plan: DepotPlan, record: AlarmRecord, source: str, verdict: Verdict) -> str:
    """One line for a log or a status page."""
    pieces = [headline(record, source, verdict), how_bad(plan, record, verdict)]
    return ", ".join(p for p in (*pieces, time_left(plan, record, verdict)) if p)


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
    mine = code(plan, number)
    take = f"Reply {mine} to take it." if plan.duty.replies else f"Take: brineward take {mine}"
    short_take = (f"Reply {mine}",) if plan.duty.replies else (f"Take {mine}",)
    return fit_segment(
        [
            Part(text=f"{mine} AGAIN" if again else mine, rank=0),
            Part(text=f"{plan.name}:", rank=3, name=True),
            Part(text=f"{headline(record, source, verdict)}.", rank=0),
            Part(text=f"{bad}." if bad else "", rank=1),
            Part(text=f"{left[:1].upper()}{left[1:]}." if left else "", rank=1),
            Part(text=f"Since {clock_time(plan, since, now)}.", rank=2),
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
            Part(text=f"at {plan.name}:", rank=2, name=True),
            Part(text=headline(record, source, verdict), rank=0),
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
            Part(text=f"{plan.name}:", rank=2, name=True),
            Part(text=headline(record, source, verdict), rank=1),
        ]
    )


def summary_text(plan: DepotPlan, *, codes: list[str], since: Instant, now: Instant) -> str:
    """The one text about what came and went while nothing came through."""
    return fit_segment(
        [
            Part(text=f"{plan.name}:", rank=1, name=True),
            Part(text=f"late word from {clock_time(plan, since, now)} on.", rank=1),
            Part(text=f"{len(codes)} alarm{'s' if len(codes) > 1 else ''} came and went:", rank=0),
            Part(text=", ".join(codes), rank=2),
            Part(text="Look at the record before you rely on the plant.", rank=0),
        ]
    )
