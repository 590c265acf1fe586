"""Taking an alarm: who may, what there is to take, and what a person is told."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from active import commit, raised, takes
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.readings.entries import Take, Tick
from brineward.readings.instants import HOUR, MINUTE, instant_from_rfc3339
from brineward.readings.outputs import AlarmState, EpisodeChanged, Priority, Step
from brineward.service.taking import ActResult, takable_codes, take
from services import write_config

NIGHT = instant_from_rfc3339("2026-01-15T11:14:00Z")
"""05:14 on the depot's clock."""


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Tern Hollow, with a yard lead and a dispatch desk on call."""
    return load_settings(write_config(tmp_path, 1883))


@pytest.fixture
def journal(settings: Settings) -> Iterator[Journal]:
    """The service's own handle."""
    with Journal.open(settings.journal.path) as opened:
        yield opened


def taken(settings: Settings, number: int, by: str = "yard", at: int = NIGHT) -> ActResult:
    """What a take comes to."""
    plan = settings.depots["tern-hollow"]
    act = Take(depot=plan.id, time=at, received=at, number=number, by=by)
    return take(settings.journal.path, plan, act)


@pytest.mark.parametrize("state", [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED])
def test_what_nobody_has_is_taken(settings: Settings, journal: Journal, state: AlarmState) -> None:
    """The act is handed to the service, and the person reads what they have."""
    commit(journal, raised(2, NIGHT, state))
    assert taken(settings, 2) == ActResult(
        done=True, sentence="main tank near overflow, 7.55 ft (limit 7.38)."
    )
    assert takes(journal) == [(2, "yard")]


@pytest.mark.parametrize("by", ["yard", "Yard lead"])
def test_who_has_it_already_and_since_when(settings: Settings, journal: Journal, by: str) -> None:
    """On the depot's own clock; the day is said where it was not today."""
    commit(
        journal,
        raised(2, NIGHT - MINUTE),
        raised(2, NIGHT, AlarmState.ACKNOWLEDGED, by=by, before=AlarmState.UNACKNOWLEDGED),
    )
    again = taken(settings, 2, "dispatch", NIGHT + HOUR)
    assert again == ActResult(done=False, sentence="Yard lead has TH2 since 05:14.")
    late = taken(settings, 2, "dispatch", NIGHT + 30 * HOUR)
    assert late.sentence == "Yard lead has TH2 since Thu 05:14."
    assert takes(journal) == []


def test_who_has_it_is_known_after_it_was_held_back(settings: Settings, journal: Journal) -> None:
    """A change that says nobody's name does not hide who took it before."""
    had = AlarmState.ACKNOWLEDGED
    commit(
        journal,
        raised(2, NIGHT, had, by="Yard lead"),
        raised(2, NIGHT + MINUTE, AlarmState.SUPPRESSED, before=had),
        raised(2, NIGHT + 2 * MINUTE, had, before=AlarmState.SUPPRESSED),
    )
    assert taken(settings, 2, "dispatch").sentence == "Yard lead has TH2 since 05:14."


def test_two_people_at_the_same_moment(settings: Settings, journal: Journal) -> None:
    """Whoever is second reads that the first has it, before the service has come to it."""
    commit(journal, raised(2, NIGHT))
    assert taken(settings, 2, "dispatch").done
    second = taken(settings, 2, "yard", NIGHT + 1000)
    assert second == ActResult(done=False, sentence="Dispatch desk has TH2 since 05:14.")
    assert takes(journal) == [(2, "dispatch")]


def test_what_is_not_active_is_not_taken(settings: Settings, journal: Journal) -> None:
    """A number that never was, and an alarm that has cleared, each in plain words."""
    commit(
        journal,
        raised(2, NIGHT),
        raised(2, NIGHT + MINUTE, AlarmState.NORMAL, before=AlarmState.UNACKNOWLEDGED),
    )
    assert taken(settings, 9) == ActResult(done=False, sentence="TH9 is not active.")
    assert taken(settings, 2).sentence == "TH2 is not active; it cleared at 05:15."
    assert takes(journal) == []


def test_what_is_held_back_is_not_taken(settings: Settings, journal: Journal) -> None:
    """A consequence is taken by its cause."""
    commit(journal, raised(2, NIGHT, AlarmState.SUPPRESSED))
    assert taken(settings, 2) == ActResult(
        done=False,
        sentence="TH2 is held back while the alarm that caused it is active. Take that one.",
    )


def test_the_cause_that_is_to_be_taken_is_named(settings: Settings, journal: Journal) -> None:
    """By its code, or somebody half awake has to find out which it is."""
    late = replace(raised(2, NIGHT, AlarmState.SUPPRESSED), alarm="brine-weak")
    commit(journal, late, replace(raised(5, NIGHT), alarm="fill-weak"), raised(7, NIGHT))
    assert taken(settings, 2) == ActResult(
        done=False, sentence="TH2 is held back while TH5 is active. Take TH5."
    )


def test_what_its_mode_holds_back_needs_nobody(settings: Settings, journal: Journal) -> None:
    """No alarm has caused it, so none is named."""
    laid_up = EpisodeChanged(
        time=NIGHT,
        depot="tern-hollow",
        episode="mode",
        source="laid up",
        began=NIGHT,
        ended=None,
    )
    weak = replace(raised(2, NIGHT, AlarmState.SUPPRESSED), alarm="brine-weak", source="main")
    journal.commit([Step(Tick(time=NIGHT), (laid_up, weak))])
    assert taken(settings, 2).sentence == "TH2 needs nobody while Tern Hollow is laid up."
    assert takes(journal) == []


@pytest.mark.parametrize("by", ["root", "Yard lead", ""])
def test_only_who_is_on_call_takes(settings: Settings, journal: Journal, by: str) -> None:
    """Nobody else's take stops the calls; the sentence says who is on call."""
    commit(journal, raised(2, NIGHT))
    assert taken(settings, 2, by) == ActResult(
        done=False,
        sentence="You are not on call at Tern Hollow. Yard lead or Dispatch desk can take TH2.",
    )
    assert takes(journal) == []


def test_what_a_person_could_take_now(settings: Settings, journal: Journal) -> None:
    """High priorities first, then the newest; nothing that somebody has; nothing for a stranger."""
    commit(
        journal,
        raised(1, NIGHT, priority=Priority.LOW),
        raised(2, NIGHT + MINUTE),
        raised(3, NIGHT + 2 * MINUTE),
        raised(4, NIGHT + 3 * MINUTE, AlarmState.ACKNOWLEDGED, by="Yard lead"),
        raised(5, NIGHT + 4 * MINUTE, AlarmState.SUPPRESSED),
    )
    path, depots = settings.journal.path, settings.depots
    assert takable_codes(path, depots, "yard") == ("TH3", "TH2", "TH1")
    assert takable_codes(path, depots, "stranger") == ()
    plan = depots["tern-hollow"]
    elsewhere = {plan.id: replace(plan, duty=replace(plan.duty, on_call=("dispatch",)))}
    assert takable_codes(path, elsewhere, "yard") == ()
