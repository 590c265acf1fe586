"""Answers of rarer sorts: of alarms in every state, and where something is missing.

Journals with those states are written; the answers are made by the code that answers people.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

import orjson

from brineward.config.settings import Settings
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.readings.entries import Handling, HandlingKind, ModeSet, Take, Tick
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmChanged, AlarmState, Notice, Priority, Step, TextDue
from brineward.service.handling import handle
from brineward.service.questions import Questions
from brineward.service.taking import take
from brineward.telling.health import weekly_test_text
from brineward.texts.replies import Question
from brineward.watch.unwatched import Blind, Unwatched
from depots import START
from reports.made import settings_with

NOW: Final = START + HOUR
STATES: Final = (
    ("shelter-freezing", "shelter", AlarmState.UNACKNOWLEDGED),
    ("uplift", "main", AlarmState.LATCHED_ACKNOWLEDGED),
    ("outlet-dead", "pump", AlarmState.SUPPRESSED),
    ("sensor-silent", "main-level", AlarmState.OUT_OF_SERVICE),
    ("disk-low", "watch", AlarmState.RETURNED_UNACKNOWLEDGED),
    ("brine-weak", "main", AlarmState.SUPPRESSED),
    ("no-such", "alarm", AlarmState.UNACKNOWLEDGED),
)
"""The alarms TH1, TH2 and so on, as they are."""


def answers(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Each sort under its title, as lines of the page."""
    settings = written(folder)
    yield "Answers about alarms in other states", [*by_commands(settings), *by_takes(settings)]
    yield "Answers to questions, rarer ones", list(by_questions(settings))


def written(folder: Path) -> Settings:
    """A config with a journal that holds the alarms."""
    settings = settings_with(folder / "answers.journal", folder)
    with Journal.open(settings.journal.path) as journal:
        quiet = ModeSet(
            depot="tern-hollow", time=START, received=START, mode=Mode.FILLING_UP, by="yard"
        )
        journal.commit([Step(quiet, tuple(Engine(settings.depots).step(quiet)))])
        for place, (alarm, source, state) in enumerate(STATES):
            change = changed(place + 1, alarm, source, state)
            journal.commit([Step(Tick(time=START), (change,))])
    return settings


def changed(number: int, alarm: str, source: str, state: AlarmState) -> AlarmChanged:
    """An alarm that became so."""
    return AlarmChanged(
        time=START,
        depot="tern-hollow",
        alarm=alarm,
        source=source,
        number=number,
        before=AlarmState.NORMAL,
        state=state,
        priority=Priority.MEDIUM,
        value=None,
        limit=None,
        unit="",
        sentence="shelter near freezing, 32 F in 72 min" if number == 1 else alarm,
        by="Dispatch desk",
    )


ACTS: Final[tuple[tuple[int, HandlingKind, str, str], ...]] = (
    (1, "shelve", "yard", ""),
    (1, "out of service", "yard", ""),
    (1, "out of service", "yard", "being mended"),
    (1, "back in service", "yard", ""),
    (2, "reset", "yard", ""),
    (4, "shelve", "yard", ""),
    (4, "out of service", "yard", "being mended"),
    (4, "back in service", "yard", ""),
    (5, "reset", "yard", ""),
    (5, "hand back", "yard", ""),
    (7, "shelve", "yard", ""),
    (1, "reset", "chief", ""),
)
ALONE: Final[tuple[tuple[int, HandlingKind, str, str], ...]] = (
    (1, "hand back", "dispatch", ""),
    (2, "hand back", "dispatch", ""),
)


def by_commands(settings: Settings) -> Iterator[str]:
    """What is answered to each act."""
    plan = settings.depots["tern-hollow"]
    never = replace(plan, alarms={"shelter-freezing": AlarmSettings(shelve_at_most_seconds=0.0)})
    alone = replace(plan, duty=replace(plan.duty, on_call=("dispatch",)))
    for its, acts, said in (
        (plan, ACTS, ""),
        (never, ACTS[:1], ", which the config forbids"),
        (alone, ALONE, ", where nobody else is on call"),
    ):
        for number, what, by, why in acts:
            act = Handling(
                depot=plan.id,
                time=NOW,
                received=NOW,
                what=what,
                number=number,
                by=by,
                why=why,
                until=NOW if its is plan else NOW + HOUR,
            )
            because = f" ({why})" if why else ""
            answer = handle(settings.journal.path, its, act).sentence
            yield f"- {what} {plan.code(number)}{because}{said}: `{answer}`"


def by_takes(settings: Settings) -> Iterator[str]:
    """What is answered to who takes each."""
    plan = settings.depots["tern-hollow"]
    for number, by in ((2, "yard"), (3, "yard"), (4, "yard"), (6, "yard"), (1, "chief")):
        act = Take(depot=plan.id, time=NOW, received=NOW, number=number, by=by)
        answer = take(settings.journal.path, plan, act).sentence
        yield f"- take {plan.code(number)}: `{answer}`"


def by_questions(settings: Settings) -> Iterator[str]:
    """What is answered where it is not plain which depot, or there is nothing to tell."""
    plan = settings.depots["tern-hollow"]
    other = replace(plan, id="kettle-ridge", name="Kettle Ridge", short="KR")
    two = replace(settings, depots={**settings.depots, other.id: other})
    yield f"- status, of two depots: `{asked(two, Question(what='status'))}`"
    yield f"- more, no alarm is active: `{asked(two, Question(what='more', short='KR'))}`"
    gone = replace(settings, journal=replace(settings.journal, path=settings.file.parent))
    yield f"- status, the records can't be read: `{asked(gone, Question(what='status'))}`"
    nobody = asked(settings, Question(what="status", short="TH"), "chief")
    yield f"- status, by who is not on call: `{nobody}`"
    yield f"- status, by who is on call nowhere: `{asked(settings, Question(what='status'), 'x')}`"
    for number, what in ((1, "not reached"), (3, "nobody was texted")):
        dead(settings, plan) if number == 1 else None
        said = asked(settings, Question(what="who", short="TH", number=number))
        yield f"- who, {what}: `{said}`"
    silent = asked(settings, Question(what="more", short="TH", number=1))
    yield f"- more, nothing fresh is known: `{silent}`"
    unwatched = Question(what="unwatched")
    yield f"- unwatched, nothing is kept of it: `{asked(settings, unwatched)}`"
    for said, count in (("none", 0), ("all have room", 2), ("more than have room", len(BLIND))):
        keep(settings, plan, dict(list(BLIND.items())[:count]))
        yield f"- unwatched, {said}: `{asked(settings, unwatched)}`"
    yield f"- unwatched, the rest: `{asked(settings, replace(unwatched, place=2))}`"
    tested(settings, plan)
    yield f"- test, after a test text: `{asked(settings, Question(what='test'))}`"


def asked(settings: Settings, question: Question, person: str = "yard") -> str:
    """The answer."""
    return Questions(settings).answer(question, person, NOW)


BLIND: Final = {
    "overflow": "main level is silent",
    "tank leak": "main level is silent",
    "closed valve": "loading pump switch is silent",
    "weak brine": "main tank probe is implausible: stuck",
    "strong brine": "main tank probe is implausible: stuck",
    "freezing": "shelter thermometer has not reported",
}
"""Dangers that nobody watches, and why."""


def keep(settings: Settings, plan: DepotPlan, blind: dict[str, str]) -> None:
    """These are unwatched, as the service keeps it."""
    kept = Unwatched()
    for danger, why in blind.items():
        kept.note(danger, Blind(danger, Priority.HIGH, why, (), START))
    state = orjson.dumps({"trackers": {kept.name: [kept.version, kept.snapshot()]}})
    with Journal.open(settings.journal.path) as journal:
        journal.commit([Step(Tick(time=START + len(blind)), ())], states={plan.id: state})


def dead(settings: Settings, plan: DepotPlan) -> None:
    """A text of TH1 to each of two, of which one was given up."""
    sent(settings, plan, "raised", {"yard": "dead", "dispatch": "accepted"}, number=1)


def tested(settings: Settings, plan: DepotPlan) -> None:
    """The weekly test went out to the yard lead."""
    sent(settings, plan, "test", {"yard": "accepted"}, number=0)


def sent(
    settings: Settings, plan: DepotPlan, kind: str, fates: dict[str, str], *, number: int
) -> None:
    """Texts that went out, or did not."""
    with Journal.open(settings.journal.path) as journal:
        for person, fate in fates.items():
            due = TextDue(
                id=f"{kind}-{person}",
                time=NOW - 10 * MINUTE,
                depot=plan.id,
                number=number,
                person=person,
                kind=kind,  # type: ignore[arg-type] # one of its kinds
                priority=Priority.LOW,
                notice=Notice(kind=kind, plain=weekly_test_text(plan)),  # type: ignore[arg-type]
            )
            journal.commit([Step(Tick(time=due.time), (due,))])
            if fate == "dead":
                journal.outbox.record_dead(due.id, due.time, "no answer")
            else:
                journal.outbox.record_accepted(due.id, due.time + 4000, "taken")
