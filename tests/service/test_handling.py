"""What people do with an alarm from outside: who may, and what they are told of it."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from active import commit, raised
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.readings.entries import Handling, HandlingKind
from brineward.readings.instants import HOUR, MINUTE, instant_from_rfc3339
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority
from brineward.service.handling import ActResult, handle
from services import write_config

NIGHT = instant_from_rfc3339("2026-01-15T11:14:00Z")
"""05:14 on the depot's clock."""
OPEN, HAD = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
LATCHED = AlarmState.LATCHED_ACKNOWLEDGED
SHELVED, OUT = AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Tern Hollow, with a yard lead and a dispatch desk on call."""
    return load_settings(write_config(tmp_path, 1883))


@pytest.fixture
def journal(settings: Settings) -> Iterator[Journal]:
    """The service's own handle."""
    with Journal.open(settings.journal.path) as opened:
        yield opened


def change(state: AlarmState, *, by: str = "", priority: Priority = Priority.HIGH) -> AlarmChanged:
    """TH2, the main tank's, in a state."""
    found = raised(2, NIGHT - MINUTE, state, by=by, priority=priority)
    fields = {name: getattr(found, name) for name in found.__slots__}
    return AlarmChanged(**fields | {"source": "main"})


def done(settings: Settings, what: HandlingKind, by: str = "yard", **more: Any) -> ActResult:
    """What an act comes to."""
    plan = settings.depots["tern-hollow"]
    named = {} if "alarm" in more else {"number": 2}
    act = Handling(depot=plan.id, time=NIGHT, received=NIGHT, what=what, by=by, **named, **more)
    return handle(settings.journal.path, plan, act)


def waiting(journal: Journal) -> list[Handling]:
    """The acts that wait for the service."""
    return [entry for _, entry in journal.inbox.waiting() if isinstance(entry, Handling)]


@pytest.mark.parametrize(
    "case",
    [
        ("hand back", HAD, "yard", {}, "You do not have TH2 any more: the next person is called."),
        ("hand back", OPEN, "yard", {},
         "You do not have TH2. If you were called last, the next person is called."),
        ("unshelve", SHELVED, "yard", {},
         "TH2 is no longer shelved. If it is still active, people are texted."),
        ("out of service", OPEN, "yard", {"why": "float is broken"},
         "TH2 is out of service until somebody puts it back."),
        ("back in service", OUT, "yard", {},
         "TH2 is back in service. If it is still active, people are texted."),
        ("reset", LATCHED, "yard", {}, "TH2 is reset."),
        ("shelve", OPEN, "yard", {"until": NIGHT + 30 * MINUTE},
         "TH2 is shelved until 05:44. If it is still active then, people are texted."),
    ],
)  # fmt: skip
def test_what_can_be_done_is_handed_to_the_service(
    settings: Settings, journal: Journal, case: tuple[Any, ...]
) -> None:
    """And the person reads what becomes of it."""
    what, state, by, more, sentence = case
    commit(journal, change(OPEN, by=""), change(state, by="Yard lead"))
    assert done(settings, what, by, **more) == ActResult(done=True, sentence=sentence)
    (act,) = waiting(journal)
    assert (act.what, act.number, act.by) == (what, 2, by)


@pytest.mark.parametrize(
    ("state", "sentence"),
    [
        (HAD, "You do not have TH2 any more: nobody else is on call, phone somebody."),
        (OPEN, "You do not have TH2. Nobody else is on call: phone somebody."),
    ],
)
def test_who_is_on_call_alone_is_not_told_of_a_next_person(
    settings: Settings, journal: Journal, state: AlarmState, sentence: str
) -> None:
    """There is none, so nobody comes unless they phone."""
    plan = settings.depots["tern-hollow"]
    alone = replace(plan, duty=replace(plan.duty, on_call=("yard",)))
    only = replace(settings, depots={"tern-hollow": alone})
    commit(journal, change(OPEN, by=""), change(state, by="Yard lead"))
    assert done(only, "hand back") == ActResult(done=True, sentence=sentence)


@pytest.mark.parametrize(
    "case",
    [
        ("hand back", HAD, "dispatch", {}, "Yard lead has TH2, not you."),
        ("hand back", SHELVED, "yard", {}, "TH2 is shelved: nobody has it."),
        ("unshelve", OPEN, "yard", {}, "TH2 is not shelved."),
        ("out of service", OPEN, "yard", {}, "Say why it is put out of service."),
        ("out of service", OUT, "yard", {"why": "x"}, "TH2 is out of service already."),
        ("back in service", OPEN, "yard", {}, "TH2 is not out of service."),
        ("reset", OPEN, "yard", {},
         "TH2 is still active: it can't be reset until it has cleared."),
        ("reset", SHELVED, "yard", {}, "TH2 needs no reset."),
        ("shelve", OUT, "yard", {"until": NIGHT + HOUR}, "TH2 is out of service."),
        ("shelve", OPEN, "yard", {}, "How long should TH2 be shelved?"),
        ("shelve", OPEN, "stranger", {"until": NIGHT + HOUR},
         "You are not on call at Tern Hollow."),
        ("reset", OPEN, "yard", {"alarm": "no-such", "source": "alarm"},
         "no-such (alarm) is not an alarm that is watched at Tern Hollow."),
        ("reset", AlarmState.NORMAL, "yard", {}, "TH2 is not active."),
    ],
)  # fmt: skip
def test_what_can_not_be_done_is_refused_with_the_reason(
    settings: Settings, journal: Journal, case: tuple[Any, ...]
) -> None:
    """Nothing waits for the service then."""
    what, state, by, more, sentence = case
    commit(journal, change(state, by="Yard lead"))
    assert done(settings, what, by, **more) == ActResult(done=False, sentence=sentence)
    assert waiting(journal) == []


@pytest.mark.parametrize(
    ("priority", "until"), [(Priority.HIGH, "06:14"), (Priority.MEDIUM, "Fri 05:14")]
)
def test_no_longer_than_it_may(
    settings: Settings, journal: Journal, priority: Priority, until: str
) -> None:
    """A high alarm an hour, any a day; whoever asks for more reads what they get."""
    commit(journal, change(OPEN, priority=priority))
    said = done(settings, "shelve", until=NIGHT + 99 * HOUR).sentence
    longest = f"TH2 is shelved until {until}, the longest allowed"
    assert said == f"{longest}. If it is still active then, people are texted."
    (act,) = waiting(journal)
    assert act.until - NIGHT == (HOUR if priority is Priority.HIGH else 24 * HOUR)


def test_an_alarm_without_a_code_is_named_by_itself(settings: Settings, journal: Journal) -> None:
    """A sensor that is taken out for the summer has no alarm yet."""
    named = {"alarm": "sensor-silent", "source": "main-level", "why": "at the shop"}
    assert done(settings, "out of service", **named).done
    (act,) = waiting(journal)
    assert (act.number, act.alarm, act.source, act.why) == (0, *named.values())
