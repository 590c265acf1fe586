"""A night as a person would describe it: what the plant did, which alarms there were, who was
texted what and when, who took it, and how it ended.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.journal.outbox import OutboxText
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import Answer
from brineward.readings.instants import MINUTE, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.records.ever import NEVER
from brineward.records.records import Records
from brineward.telling.handover_words import codes_named
from brineward.wording.operator_units import amount, duration

_SECOND = 1000
_HAD = (AlarmState.ACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED)
_GONE = (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)
_PLANT = {
    "fill": "{name} was filled",
    "pump-run": "{name} ran",
    "mode": "{name} began",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing that happened."""

    time: Instant
    about: str
    """`plant`, `alarm`, `text`, `act`."""
    sentence: str
    number: int = 0
    """The occurrence that it is about; 0 for none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """What happened at one depot from `start` to before `end`."""

    depot: str
    start: Instant
    end: Instant
    lines: tuple[Line, ...]
    alarms: int
    """How many alarms were raised."""
    texts: int
    """How many texts of alarms were sent to people."""
    not_reached: int
    """How many texts were given up."""
    watched_seconds: float
    """How long there were readings, by stretches of ten minutes."""

    @property
    def sum(self) -> str:
        """The night in a sentence, also where nothing happened."""
        hours = (self.end - self.start) / _SECOND
        blind = hours - self.watched_seconds
        gap = f" There were no readings for {duration(blind)} of it." if blind >= 1200 else ""
        if self.watched_seconds == 0:
            return "Nobody knows what happened: there were no readings at all."
        if not self.alarms:
            quiet = "Nothing happened that anybody had to be woken for."
            return f"{quiet} The watch was on.{gap}" if not gap else f"{quiet}{gap}"
        plural = "s" if self.alarms != 1 else ""
        texts = f"{self.texts} text{'s' if self.texts != 1 else ''}"
        lost = f", {self.not_reached} of which reached nobody" if self.not_reached else ""
        return f"{self.alarms} alarm{plural}, {texts}{lost}.{gap}"


def night_of(plan: DepotPlan, records: Records, start: Instant, end: Instant) -> Night:
    """The story of a depot from `start` to before `end`. Raises: DiskTrouble, JournalDamaged."""
    changes = records.alarms.history(plan.id, start, end)
    texts = _texts(plan, records, start, end)
    lines = [
        *_plant_lines(plan, records, start, end),
        *(_alarm_line(plan, change) for change in changes if _is_told(change)),
        *(_text_line(plan, text) for text in texts),
        *_act_lines(plan, records, start, end),
    ]
    raised = {change.number for change in changes if change.state is AlarmState.UNACKNOWLEDGED}
    about = [text for text in texts if text.number]
    return Night(
        depot=plan.id,
        start=start,
        end=end,
        lines=tuple(sorted(lines, key=lambda line: line.time)),
        alarms=len(raised),
        texts=len(about),
        not_reached=sum(text.state == "dead" for text in about),
        watched_seconds=records.readings.heard_seconds(plan.id, plan.sensors, start, end),
    )


def _texts(plan: DepotPlan, records: Records, start: Instant, end: Instant) -> list[OutboxText]:
    found = records.texts.between(plan.id, start, end)
    return sorted(found, key=lambda text: (text.created, text.id))


def _plant_lines(plan: DepotPlan, records: Records, start: Instant, end: Instant) -> Iterator[Line]:
    for one in records.episodes.between(plan.id, start, end):
        form = _PLANT.get(one.episode)
        if form is None or not start <= one.began < end:
            continue
        said = form.format(name=plan.name_of(one.source))
        if one.ended is not None and one.episode != "mode":
            said += f" for {duration((one.ended - one.began) / _SECOND)}"
        if one.amount_m3 is not None:
            said += f", {amount(abs(one.amount_m3), plan.us_units)}"
        if one.ended is None and one.episode != "mode":
            said += ", and still does"
        yield Line(time=one.began, about="plant", sentence=f"{said[:1].upper()}{said[1:]}.")


def _is_told(change: AlarmChanged) -> bool:
    """Is it of an alarm that anybody may have been told of?"""
    return change.number > 0 and change.before != change.state


def _alarm_line(plan: DepotPlan, change: AlarmChanged) -> Line:
    code, by = plan.code(change.number), change.by
    match change.state:
        case AlarmState.UNACKNOWLEDGED if change.before in _HAD:
            said = f"{code} is nobody's any more: {change.sentence}"
        case AlarmState.UNACKNOWLEDGED:
            said = f"{code}: {change.sentence}"
        case state if state in _HAD:
            said = f"{by or 'Somebody'} took {code}"
        case AlarmState.RETURNED_UNACKNOWLEDGED:
            said = f"{code} cleared before anybody took it"
        case AlarmState.NORMAL if change.before is AlarmState.RETURNED_UNACKNOWLEDGED:
            said = f"{by or 'Somebody'} took {code} after it had cleared"
        case AlarmState.NORMAL:
            said = f"{code} cleared"
        case AlarmState.SHELVED:
            until = plan.units.clock_time(change.until or change.time, change.time)
            said = f"{by or 'Somebody'} shelved {code} until {until}"
        case AlarmState.SUPPRESSED:
            said = f"{code} is held back, since another alarm or the mode explains it"
        case state:
            said = f"{code} is {state.value}"
    return Line(time=change.time, about="alarm", sentence=f"{said}.", number=change.number)


_TOLD_OF = {
    "raised": "was texted about",
    "again": "was texted again about",
    "cleared": "was texted that it cleared:",
    "taken": "was texted who has",
    "held back": "was texted that nobody is called about",
    "reminder": "was reminded of",
    "several": "was texted once about",
}


def _text_line(plan: DepotPlan, text: OutboxText) -> Line:
    who = plan.duty.names.get(text.person, text.person)
    if text.number:
        codes = codes_named([plan.code(one) for one in (text.number, *text.notice.also)])
        what = f"{_TOLD_OF.get(text.kind, 'was texted about')} {codes}"
    else:
        what = {
            "answer": "was answered",
            "handover": "was texted who is on call",
            "summary": "was texted what came and went",
        }.get(text.kind, "was texted about the depot")
    tries = f" at the {_nth(text.attempts)} try" if text.attempts > 1 else ""
    if text.state == "accepted":
        late = (text.settled or text.created) - text.created
        after = f", {duration(late / _SECOND)} later" if late >= MINUTE else ""
        fate = f"; sent{tries}{after}"
    elif text.state == "dead":
        fate = f"; NOT reached{f': {text.why}' if text.why else ''}"
    else:
        fate = "; not sent yet"
    said = f"{who} {what}{fate}."
    return Line(time=text.created, about="text", sentence=said, number=text.number)


def _nth(number: int) -> str:
    return {2: "second", 3: "third"}.get(number, f"{number}th")


def _act_lines(plan: DepotPlan, records: Records, start: Instant, end: Instant) -> Iterator[Line]:
    for act in records.acts.between(plan.id, start, min(end, NEVER), kind="answer"):
        if isinstance(act, Answer) and act.opted:
            who = plan.duty.names.get(act.person, act.person)
            way = "opted out of texts" if act.opted == "out" else "gets texts again"
            yield Line(time=act.time, about="act", sentence=f"{who} {way}.")
