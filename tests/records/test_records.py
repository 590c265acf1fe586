"""Reading back: the newest, a stretch, what stands, what was told."""

from pathlib import Path

import pytest

from brineward.journal import Journal
from brineward.readings.entries import AlarmGone, LinkChanged
from brineward.readings.outputs import AlarmState, Step
from brineward.records import Episode, ServiceRow
from journal.samples import T0, alarm, asked, derived, episode, plain, reading, text


@pytest.fixture
def journal(tmp_path: Path):
    """A new journal on the real disk."""
    with Journal.open(tmp_path / "a.journal") as opened:
        yield opened


def test_the_newest_is_by_time_measured(journal):
    """A late reading doesn't pass for news, nor does one from a clock that runs ahead."""
    ahead = reading(10**9)
    journal.commit(plain(reading(5), reading(2), ahead, reading(3, sensor="pump-running")))
    journal.commit(plain(reading(9, depot="kettle-ridge")))
    newest = asked(journal).readings.latest("tern-hollow", not_after=T0 + 1000)
    assert newest == {"main-level": reading(5), "pump-running": reading(3, sensor="pump-running")}
    assert asked(journal).readings.latest("tern-hollow")["main-level"] == ahead


def test_a_stretch_begins_at_its_start_and_ends_before_its_end(journal):
    """Readings in order of time, the edge counted once between two stretches; unknown is empty."""
    journal.commit(plain(*(reading(n) for n in (3, 1, 2, 4))))
    found = asked(journal).readings.between("tern-hollow", "main-level", T0 + 2, T0 + 4)
    assert found == [reading(2), reading(3)]
    assert asked(journal).readings.between("tern-hollow", "none", 0, T0 + 9) == []


def test_the_last_conclusion_of_an_instant_counts(journal):
    """Two sensors of one pack derive one instant twice: read back is the better informed one."""
    journal.commit([Step(reading(1), (derived(1, 0.2),)), Step(reading(2), (derived(1, 0.21),))])
    journal.commit([Step(reading(3), (derived(3, 0.22, standard_uncertainty=None),))])
    found = asked(journal).derived.between("tern-hollow", "strength", T0, T0 + 3)
    assert found == [derived(1, 0.21)]
    last = derived(3, 0.22, standard_uncertainty=None)
    assert asked(journal).derived.latest("tern-hollow") == {"strength": last}
    assert asked(journal).derived.latest("tern-hollow", T0 + 2) == {"strength": derived(1, 0.21)}


def test_alarms_standing_are_those_not_normal(journal):
    """An alarm stands from leaving normal until it is back, whoever takes it meanwhile."""
    raised = alarm(1)
    taken = alarm(5, AlarmState.ACKNOWLEDGED, before=AlarmState.UNACKNOWLEDGED, by="yard")
    other = alarm(3, alarm="link-down", source="broker", number=13)
    journal.commit([Step(reading(1), (raised,)), Step(reading(3), (other,))])
    journal.commit([Step(reading(5), (taken,))])
    assert [(one.change, one.since - T0) for one in asked(journal).alarms.active()] == [
        (taken, 1),
        (other, 3),
    ]
    over = alarm(9, AlarmState.NORMAL, before=AlarmState.ACKNOWLEDGED)
    journal.commit([Step(reading(9), (over,))])
    assert [one.change for one in asked(journal).alarms.active("tern-hollow")] == [other]
    assert asked(journal).alarms.active("kettle-ridge") == []
    again = alarm(20, number=14)
    journal.commit([Step(reading(20), (again,))])
    assert [(one.change, one.since - T0) for one in asked(journal).alarms.active()] == [
        (other, 3),
        (again, 20),
    ]
    assert asked(journal).alarms.history("tern-hollow") == [
        raised,
        other,
        taken,
        over,
        again,
    ]
    assert asked(journal).alarms.history("tern-hollow", T0 + 3, T0 + 9) == [other, taken]
    assert asked(journal).alarms.history("tern-hollow", limit=2) == [over, again]


def test_episodes_and_counts_of_texts(journal):
    """An episode is one row with its end and its figures; texts are counted by their state."""
    journal.commit([Step(reading(1), (episode(1), text(1, 1), text(2, 1), text(3, 1)))])
    journal.commit([Step(reading(9), (episode(9, ended=T0 + 9, amount_m3=1.5),))])
    fill = Episode(
        depot="tern-hollow", episode="fill", source="main", began=T0, ended=T0 + 9, amount_m3=1.5
    )
    assert asked(journal).episodes.between("tern-hollow") == [fill]
    assert asked(journal).episodes.between("tern-hollow", T0 + 10) == []
    assert asked(journal).episodes.between("tern-hollow", 0, T0) == []
    assert asked(journal).episodes.between("tern-hollow", episode="pump-run") == []
    first, second, _ = (one.id for one in journal.outbox.texts_open(T0 + 9))
    journal.outbox.record_accepted(first, T0, "r")
    journal.outbox.record_dead(second, T0, "no")
    assert asked(journal).texts.counts() == {"open": 1, "accepted": 1, "dead": 1}
    assert asked(journal).texts.counts("kettle-ridge") == {
        "open": 0,
        "accepted": 0,
        "dead": 0,
    }
    assert [one.id for one in asked(journal).texts.newest(state="dead")] == [second]


def test_the_service_says_how_it_is(journal):
    """What is not said again stays; the link's state comes from the entries themselves."""
    assert asked(journal).service() == ServiceRow()
    journal.signs_of_life.note(beat=T0, pid=7, version="0.1.0", config_hash="ab", started=T0)
    journal.signs_of_life.note(beat=T0 + 10, last_commit=T0 + 9)
    journal.commit(
        plain(LinkChanged(time=T0 + 4, up=True), LinkChanged(time=T0 + 5, up=False, why="x"))
    )
    assert asked(journal).service() == ServiceRow(
        pid=7,
        version="0.1.0",
        config_hash="ab",
        started=T0,
        beat=T0 + 10,
        last_commit=T0 + 9,
        link_up=False,
        link_changed=T0 + 5,
        link_why="x",
    )


def test_an_alarm_that_is_gone_from_the_config_is_active_no_more(journal):
    """It is found among those not normal until the entry that says that it is gone is kept."""
    old, other = alarm(1, depot="old-depot"), alarm(2)
    journal.commit([Step(reading(1), (old, other))])
    assert [one.change for one in journal.resuming.alarms_active()] == [old, other]
    gone = AlarmGone(
        time=T0 + 5,
        depot="old-depot",
        alarm=old.alarm,
        source=old.source,
        number=old.number,
        state=old.state.value,
        priority=old.priority.value,
    )
    journal.commit(plain(gone))
    assert [one.change for one in journal.resuming.alarms_active()] == [other]
    assert asked(journal).alarms.history("old-depot") == [old]


def test_the_texts_about_one_alarm(journal):
    """Those of its occurrence in order, and no others."""
    texts = (text(2, 2), text(1, 1), text(1, 1, number=13))
    journal.commit([Step(reading(3), texts)])
    assert [one.id for one in asked(journal).texts.about("tern-hollow", 12)] == [
        texts[1].id,
        texts[0].id,
    ]
    assert asked(journal).texts.about("tern-hollow", 12)[0].notice == texts[1].notice


def test_an_episode_s_end_adds_what_its_beginning_did_not_know(journal):
    """One row an episode: its end and figures come later, and a late repeat takes nothing back."""
    begun, ended = episode(1), episode(9, ended=T0 + 9, amount_m3=0.5)
    journal.commit([Step(reading(1), (begun,))])
    (going,) = asked(journal).episodes.between("tern-hollow")
    assert (going.ended, going.amount_m3) == (None, None)
    journal.commit([Step(reading(9), (ended,)), Step(reading(10), (begun,))])
    (done,) = asked(journal).episodes.between("tern-hollow")
    assert (done.ended, done.amount_m3) == (T0 + 9, 0.5)
