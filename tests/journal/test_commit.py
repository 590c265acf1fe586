"""What a commit keeps, and what a second telling changes."""

import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.journal import Journal
from brineward.readings.entries import (
    AlarmGone,
    Answer,
    ClockStepped,
    Delivery,
    LinkChanged,
    ServiceTrouble,
    Started,
    Tick,
)
from brineward.readings.outputs import AlarmState, Step
from brineward.readings.values import Quality, Reading, Refusal, TimedBy
from journal.samples import (
    T0,
    alarm,
    asked,
    derived,
    episode,
    hand_test,
    plain,
    reading,
    take,
    text,
)

ANSWER = Answer(
    depot="tern-hollow", time=T0, received=T0, person="yard", body="No more.", opted="out"
)
GONE = AlarmGone(
    time=T0 + 7,
    depot="tern-hollow",
    alarm="brine-strong",
    source="old-tank",
    number=3,
    state="unacknowledged",
    priority="medium",
)
STARTED = Started(time=T0, version="0.1.0", config_hash="ab", zone_data="2025b")


@pytest.fixture
def journal(tmp_path: Path):
    """A new journal on the real disk."""
    with Journal.open(tmp_path / "a.journal") as opened:
        yield opened


def kept(journal: Journal) -> list[Step]:
    """Everything the journal holds, as steps."""
    return [Step(placed.entry, placed.outputs) for placed in journal.ordering.steps()]


def every_kind() -> list[Step]:
    """One of each kind of entry and output, in a mixed order."""
    return [
        Step(STARTED, ()),
        Step(LinkChanged(time=T0, up=True, gap=True, why="no session"), ()),
        Step(reading(1, 0.0), ()),
        Step(reading(2, None, quality=Quality.BAD, reason="not a number"), (derived(2),)),
        Step(
            reading(3, timed_by=TimedBy.ARRIVAL, retained=True, silent_after_seconds=90.5),
            (derived(3, 0.2), alarm(3), text(1, 3), derived(3, 0.21, calibrated=True)),
        ),
        Step(
            Refusal("tern-hollow", "main-level", T0 + 4, "too-long", "It is.", "a/b", b"\xff\0"), ()
        ),
        Step(hand_test(4), (derived(4, low_95=None, high_95=None),)),
        Step(take(5), (alarm(5, AlarmState.ACKNOWLEDGED, before=AlarmState.UNACKNOWLEDGED),)),
        Step(ANSWER, ()),
        Step(
            Delivery(
                depot="kettle-ridge",
                time=T0 + 6,
                text="x",
                outcome="dead",
                why="503",
                number=7,
                person="yard",
            ),
            (),
        ),
        Step(ClockStepped(time=T0 + 6, by=-3_600_000), ()),
        Step(GONE, ()),
        Step(
            ServiceTrouble(time=T0 + 7, trouble="disk-low", present=True, sentence="Low."),
            (replace(alarm(7), depot="kettle-ridge", value=None, limit=None),),
        ),
        Step(
            Tick(time=T0 + 8),
            (episode(8), text(2, 8), derived(8), episode(8, ended=T0 + 8, amount_m3=1.5)),
        ),
    ]


def test_everything_comes_back_as_it_was(journal):
    """What was committed is read back equal, in the same order, outputs with their entry."""
    steps = every_kind()
    assert journal.commit(steps) == len(steps)
    assert kept(journal) == steps
    assert list(journal.ordering.entries()) == [step.entry for step in steps]
    assert list(journal.ordering.entries(5)) == [step.entry for step in steps[4:]]
    told = [(seq, step.outputs) for seq, step in enumerate(steps, 1) if step.outputs]
    assert list(journal.ordering.outputs()) == told


def test_the_order_holds_across_looks(journal, monkeypatch):
    """Replaying in many short looks gives the very order of committing, none twice, none lost."""
    monkeypatch.setattr("brineward.journal.ordering._CHUNK", 3)
    steps = []
    draw = random.Random(4)
    for n in range(60):
        entry = draw.choice(
            [
                reading(n),
                Refusal("tern-hollow", "main-level", T0 + n, "too-long", str(n)),
                LinkChanged(time=T0 + n, up=bool(n % 2)),
                reading(0, float(n), sensor="stuck-clock"),
            ]
        )
        steps.append(Step(entry, (derived(n),) * draw.randrange(3)))
    for start in range(0, 60, 7):
        journal.commit(steps[start : start + 7])
    assert kept(journal) == steps


def test_telling_the_same_again_changes_nothing(journal):
    """A batch committed a second time adds no reading, no alarm change, no text, no derived."""
    steps = [step for step in every_kind() if not isinstance(step.entry, Refusal)]
    journal.commit(steps)
    journal.commit(steps)
    assert kept(journal) == steps
    assert len(journal.outbox.texts_open(T0 + 10)) == 2
    assert asked(journal).refusals.conflict_counts() == []


def test_another_value_for_the_same_instant_is_a_conflict(journal):
    """The second value is kept beside the first and counted once, however often it comes."""
    first, second = reading(1, 1.0), reading(1, 2.0)
    journal.commit(plain(first))
    journal.commit(plain(second, first, second))
    journal.commit(plain(second))
    assert asked(journal).readings.between("tern-hollow", "main-level", T0, T0 + 5) == [first]
    assert asked(journal).readings.conflicts("tern-hollow", "main-level", T0, T0 + 5) == [second]
    counts = asked(journal).refusals.conflict_counts("tern-hollow")
    assert [(tally.sensor, tally.count) for tally in counts] == [("main-level", 1)]
    assert list(journal.ordering.entries()) == [first, second]


def test_none_and_zero_are_two_values(journal):
    """No value and 0.0 at the same instant contradict each other; neither replaces the other."""
    journal.commit(plain(reading(1, None)))
    journal.commit(plain(reading(1, 0.0), reading(1, None)))
    assert [one.value for one in journal.ordering.entries()] == [None, 0.0]
    assert asked(journal).refusals.conflict_counts()[0].count == 1


def test_a_repeat_that_let_time_pass_keeps_what_came_of_it(journal):
    """A reading known already whose arrival fired a deadline: the new conclusion isn't lost."""
    one = reading(1)
    journal.commit(plain(one))
    late = one._replace(received=T0 + 90_000)
    journal.commit([Step(late, (alarm(90_000), text(1, 90_000)))])
    assert kept(journal) == [Step(one, ()), Step(late, (alarm(90_000), text(1, 90_000)))]
    assert asked(journal).refusals.conflict_counts() == []
    journal.commit([Step(late, (alarm(90_000), text(1, 90_000)))])
    assert len(kept(journal)) == 2


def test_a_tick_without_outputs_is_kept(journal):
    """A tick moves the engine's time, which a late reading is judged by: a replay needs it."""
    assert journal.commit([Step(Tick(time=T0), ()), Step(Tick(time=T0 + 1), (derived(1),))]) == 2
    assert [placed.entry for placed in journal.ordering.steps()] == [
        Tick(time=T0),
        Tick(time=T0 + 1),
    ]


def test_nothing_of_a_batch_that_fails_midway(journal):
    """A batch that can't be stored whole leaves no reading, no text, no series behind."""
    steps = [Step(reading(1, sensor="brand-new"), (text(),)), Step(reading(2), ())]
    bad = Step(Refusal("tern-hollow", "x", T0, "too-long", None), ())
    with pytest.raises(Exception, match="NOT NULL"):
        journal.commit([*steps, bad], states={"tern-hollow": b"1"}, inbox_done=[])
    assert kept(journal) == []
    assert journal.outbox.texts_open(T0 + 10) == []
    assert journal.resuming.resume(["tern-hollow"]).states == {}
    # The numbers given in the undone transaction must not be used by the next one.
    other = reading(1, sensor="another")
    journal.commit(plain(other))
    journal.commit(plain(reading(1, sensor="brand-new")))
    assert list(journal.ordering.entries()) == [other, reading(1, sensor="brand-new")]


def test_refusals_are_counted_for_ever_and_the_last_few_kept(journal):
    """A flood of rubbish is counted to the last one, and only so many payloads stay."""
    flood = [
        Refusal("tern-hollow", "main-level", T0 + n, "too-long", f"No. {n}", "t", bytes([n % 256]))
        for n in range(50)
    ]
    other = Refusal("tern-hollow", "pump-running", T0, "not-a-number", "One.", "t", b"?")
    journal.commit(plain(*flood[:7], other))
    journal.commit(plain(*flood[7:]))
    assert asked(journal).refusals.kept("tern-hollow", "main-level") == flood[-20:]
    assert asked(journal).refusals.kept("tern-hollow", "pump-running") == [other]
    counts = [
        (one.sensor, one.reason, one.count, one.last) for one in asked(journal).refusals.counts()
    ]
    assert counts == [
        ("main-level", "too-long", 50, T0 + 49),
        ("pump-running", "not-a-number", 1, T0),
    ]
    # The order of entries keeps all of them: without its text an old one is still a refusal.
    assert [one.received for one in journal.ordering.entries() if one.sensor == "main-level"] == [
        one.received for one in flood
    ]


def test_a_text_with_a_known_id_changes_nothing(journal):
    """The same text due again, even at another time and after it was sent, is not sent again."""
    journal.commit([Step(reading(1), (text(1, 1),))])
    due = journal.outbox.texts_open(T0 + 1)[0]
    journal.outbox.record_attempt(due.id, T0 + 2)
    journal.outbox.record_accepted(due.id, T0 + 3, "receipt")
    journal.commit([Step(reading(4), (text(1, 4),))])
    assert journal.outbox.texts_open(T0 + 9) == []
    assert [(one.state, one.created) for one in asked(journal).texts.newest()] == [
        ("accepted", T0 + 1)
    ]


values = st.one_of(st.none(), st.floats(allow_nan=False, width=64))
sometimes = st.builds(
    Reading,
    depot=st.sampled_from(["tern-hollow", "kettle-ridge"]),
    sensor=st.text(min_size=1, max_size=8),
    time=st.integers(0, 4_000_000_000_000),
    value=values,
    received=st.integers(0, 4_000_000_000_000),
    quality=st.sampled_from(Quality),
    reason=st.text(max_size=10),
    timed_by=st.sampled_from(TimedBy),
    retained=st.booleans(),
    silent_after_seconds=st.one_of(st.none(), st.floats(0, 1e9)),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(sometimes, max_size=20, unique_by=lambda one: (one.depot, one.sensor, one.time)))
def test_any_reading_comes_back_to_the_last_bit(found):
    """No quality, reason, value, time before or after arrival is changed by being stored."""
    with Journal.open(Path(":memory:")) as journal:
        journal.commit(plain(*found))
        assert list(journal.ordering.entries()) == found
