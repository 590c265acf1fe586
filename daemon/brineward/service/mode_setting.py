"""A depot's mode from outside the engine: what it is, setting it, and the next step on request."""

from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from brineward.journal.journal import Journal
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.season_steps import Seen, next_step
from brineward.readings.entries import ModeSet
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.values import Quality
from brineward.records import ModeNow, Records
from brineward.telling.mode_words import mode_text
from brineward.wording.gsm import SEGMENT_SEPTETS, septets, shortened, to_gsm

_AHEAD = 5 * MINUTE  # a reading further in the future has a wrong clock and is not the newest
_FILLED = (Mode.FILLING_UP, Mode.IN_SERVICE, Mode.STORM_WATCH, Mode.STANDING_BY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What came of it."""

    set: bool
    sentence: str
    """What the mode changes, or why it was not set; one segment, with its full stop."""


class StepText(NamedTuple):
    """The next step as one segment."""

    told: bool
    """Has the mode steps?"""
    text: str


def set_mode(
    journal_path: Path,
    plan: DepotPlan,
    mode: Mode,
    *,
    by: str,
    now: Instant,
    single_batch: bool | None = None,
) -> Setting:
    """Post the mode if the person who sets it is on call at the depot.

    `single_batch` None: unchanged, as long as the depot still holds brine.

    Raises: DiskTrouble, JournalUnusable.
    """
    if by not in plan.duty.on_call:
        on_call = " or ".join(plan.duty.names.get(one, one) for one in plan.duty.on_call)
        sentence = f"You are not on call at {plan.name}. {on_call or 'Nobody'} can set its mode."
        return Setting(set=False, sentence=shortened(to_gsm(sentence), SEGMENT_SEPTETS))
    with Journal.open(journal_path) as journal:
        if single_batch is None:
            known = mode_now(journal, plan)
            kept = mode in _FILLED and known.mode in _FILLED
            single_batch = kept and known.single_batch
        journal.inbox.post(
            ModeSet(
                depot=plan.id,
                time=now,
                received=now,
                mode=mode,
                single_batch=single_batch,
                by=by,
            )
        )
    return Setting(set=True, sentence=mode_text(plan, mode, single_batch=single_batch))


def mode_now(journal: Journal, plan: DepotPlan) -> ModeNow:
    """The depot's mode, also one that the service has not come to yet.

    Raises: DiskTrouble, JournalUnusable.
    """
    known = Records(journal.handle).modes.now(plan.id)
    for _, entry in journal.inbox.waiting():
        if isinstance(entry, ModeSet) and entry.depot == plan.id:
            known = ModeNow(
                mode=entry.mode,
                since=known.since if entry.mode is known.mode else entry.time,
                by=entry.by,
                single_batch=entry.single_batch,
            )
    return known


def step_text(journal: Journal, plan: DepotPlan, now: Instant) -> StepText:
    """What is to be done next in the depot's mode, or that the mode has no steps.

    Raises: DiskTrouble, JournalUnusable.
    """
    known = mode_now(journal, plan)
    step = next_step(plan, known.mode, seen_now(journal, plan, known, now))
    said = step or "There are steps only while a depot is filling up or being drained."
    for head in (f"{plan.name} is {known.mode.value}. ", f"{plan.short}: ", ""):
        text = to_gsm(f"{head}{said}")
        if septets(text) <= SEGMENT_SEPTETS:
            break
    return StepText(told=bool(step), text=shortened(text, SEGMENT_SEPTETS))


def seen_now(journal: Journal, plan: DepotPlan, known: ModeNow, now: Instant) -> Seen:
    """What the newest readings show of the plant; what is silent or bad shows nothing.

    Raises: DiskTrouble, JournalUnusable.
    """
    records = Records(journal.handle)
    latest = records.readings.latest(plan.id, now + _AHEAD)
    seen: dict[Measure, dict[str, float]] = {measure: {} for measure in Measure}
    silent = []
    for sensor in plan.sensors.values():
        reading = latest.get(sensor.id)
        if reading is None or now - reading.time > sensor.silent_after_seconds * SECOND:
            silent.append(sensor.id)
        elif reading.value is not None and reading.quality is not Quality.BAD:
            seen[sensor.measures].setdefault(sensor.at, reading.value)
    going = records.episodes.between(plan.id, now, episode="fill")
    return Seen(
        levels_m=seen[Measure.LEVEL],
        salt_m=next(iter(seen[Measure.SALT_LEVEL].values()), None),
        running={pump: value >= 0.5 for pump, value in seen[Measure.RUNNING].items()},
        open={valve: value >= 0.5 for valve, value in seen[Measure.OPEN].items()},
        filling=frozenset(one.source for one in going if one.ended is None),
        tested=bool(records.acts.valid_tests(plan.id, known.since or 0)),
        silent=tuple(silent),
    )
