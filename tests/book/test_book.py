"""The alarm book by itself: occurrences and their numbers, causes and what they hold back."""

from dataclasses import replace

import orjson

from brineward.alarms.condition import CLEAR, Verdict
from brineward.alarms.registry import site_of
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.book.life_table import Event
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND
from brineward.readings.outputs import AlarmState
from depots import START, plan
from playing import ACTIVE, DEPOT_SILENCE, SILENCE, Bench


def states(changes: list[Change]) -> list[tuple[str, str]]:
    """Which alarm became what."""
    return [(one.booked.key, one.state) for one in changes]


def held_back() -> Bench:
    """A depot's silence is active, and holds back that of a sensor."""
    bench = Bench()
    bench.says(DEPOT_SILENCE, ACTIVE)
    bench.wait(MINUTE)
    bench.says(SILENCE, ACTIVE)
    bench.wait(5 * MINUTE)
    assert bench.alarm(SILENCE).life.suppressed
    return bench


def test_what_may_be_too_grave_for_its_causes_is_weighed_whenever_it_is_judged() -> None:
    """Whatever its condition explains itself: else it would wait for its cause to change."""
    for when in ("", "it is full"):
        configured = Bench().alarm(SILENCE).configured
        record = replace(configured.record, speaks_up_when=when)
        assert BookedAlarm(replace(configured, record=record)).picks is bool(when)


def test_come_and_gone_under_a_cause_sends_no_word_to_who_was_told_the_last_time() -> None:
    """The yard was told of an earlier silence; of one that nobody was told of it reads nothing."""
    bench = Bench()
    bench.texts([*bench.says(SILENCE, ACTIVE), *bench.wait(2 * MINUTE)])
    assert len(bench.telling.snapshot()["calls"][SILENCE][0]) == 1
    bench.texts(bench.book.take(1, "yard", bench.now))
    cleared = bench.texts([*bench.says(SILENCE, CLEAR), *bench.wait(2 * MINUTE)])
    assert [text.kind for text in cleared] == ["cleared"]
    bench.says(DEPOT_SILENCE, ACTIVE)
    bench.texts(bench.wait(2 * MINUTE))
    for verdict, active in ((ACTIVE, True), (CLEAR, False)):
        told = bench.texts([*bench.says(SILENCE, verdict), *bench.wait(5 * MINUTE)])
        assert bench.alarm(SILENCE).life.active is active
        assert told == []


def test_each_occurrence_has_the_next_number_and_a_restored_book_goes_on_counting() -> None:
    """Numbers are what people take alarms by: never given twice."""
    bench = Bench()
    numbers = []
    for key in (DEPOT_SILENCE, SILENCE):
        numbers += [c.number for c in [*bench.says(key, ACTIVE), *bench.wait(2 * MINUTE)]]
        bench.book.take(numbers[-1], "yard", bench.now)
        bench.says(key, CLEAR)
        bench.wait(2 * MINUTE)
    assert numbers == [1, 2]
    again = Bench()
    again.book.restore(bench.book.snapshot())
    again.now = bench.now
    assert [c.number for c in [*again.says(SILENCE, ACTIVE), *again.wait(2 * MINUTE)]] == [3]


def test_a_cause_that_comes_first_holds_its_consequence_back_and_lets_it_go_afresh() -> None:
    """Held back: no number; when the cause clears, what is still so is raised after its delay."""
    bench = Bench()
    bench.says(DEPOT_SILENCE, ACTIVE)
    bench.wait(MINUTE)
    bench.says(SILENCE, ACTIVE)
    held = bench.wait(5 * MINUTE)
    assert states(held) == [(SILENCE, "suppressed by design")]
    assert bench.alarm(SILENCE).life.number == 0
    bench.says(DEPOT_SILENCE, CLEAR)
    delay = bench.alarm(SILENCE).configured.on_delay_seconds
    back = bench.wait(30 * SECOND)
    assert states(back) == [(DEPOT_SILENCE, "returned unacknowledged"), (SILENCE, "normal")]
    assert bench.wait(round(delay * SECOND) - 1) == []
    assert states(bench.wait(1)) == [(SILENCE, "unacknowledged")]


def test_a_cause_that_can_no_longer_be_judged_lets_go_of_what_is_seen_to_be_wrong() -> None:
    """It may long be over, so what is seen now is news; once released it is not held back again."""
    bench = held_back()
    unknown = Verdict.unknown("its sensor is silent")
    assert states(bench.says(DEPOT_SILENCE, unknown)) == [(SILENCE, "normal")]
    assert states(bench.wait(5 * MINUTE)) == [(SILENCE, "unacknowledged")]
    assert bench.says(DEPOT_SILENCE, ACTIVE) == []
    assert not bench.alarm(SILENCE).life.suppressed


def test_a_consequence_that_can_not_be_judged_either_stays_held_back() -> None:
    """Nothing new is seen of it."""
    bench = held_back()
    unknown = Verdict.unknown("its sensor is silent")
    assert bench.says(SILENCE, unknown) == []
    assert bench.says(DEPOT_SILENCE, unknown) == []
    assert bench.alarm(SILENCE).life.suppressed
    assert states(bench.says(SILENCE, ACTIVE)) == [(SILENCE, "normal")]


def test_a_cause_that_comes_later_says_what_it_holds_back() -> None:
    """Both are known: the consequence goes quiet, keeps its number, and comes back as it was."""
    bench = Bench()
    bench.says(SILENCE, ACTIVE)
    bench.wait(2 * MINUTE)
    bench.says(DEPOT_SILENCE, ACTIVE)
    assert states(bench.wait(MINUTE)) == [
        (DEPOT_SILENCE, "unacknowledged"),
        (SILENCE, "suppressed by design"),
    ]
    bench.says(DEPOT_SILENCE, CLEAR)
    assert states(bench.wait(MINUTE))[1:] == [(SILENCE, "unacknowledged")]
    assert bench.alarm(SILENCE).life.number == 1


def test_what_is_at_rest_and_clear_is_not_asked_again_by_a_report() -> None:
    """A thousand reports of a healthy sensor cost no judgement; what is not clear is asked."""
    bench = Bench()
    level = bench.site.trackers.sensors["level"]
    played = bench.played[SILENCE]
    bench.book.hear(level, bench.now)
    assert len(played.asked) == 1
    bench.book.hear(level, bench.now)
    assert len(played.asked) == 1
    for verdict, asked in ((ACTIVE, 2), (Verdict.unknown("the link is down"), 3)):
        bench.says(SILENCE, verdict)
        bench.book.hear(level, bench.now)
        assert len(played.asked) == 1 + 2 * (asked - 1)
    played.verdict, played.rests = CLEAR, False
    before = len(played.asked)
    bench.book.hear(level, bench.now)
    bench.book.hear(level, bench.now)
    assert len(played.asked) == before + 2


def test_a_condition_is_looked_at_when_it_asked_to_be() -> None:
    """At its own deadline though nothing comes; not while silence means nothing."""
    bench = Bench()
    played = bench.played[SILENCE]
    played.look = bench.now + HOUR
    bench.says(SILENCE, CLEAR)
    assert bench.book.next_deadline == bench.now + HOUR
    played.verdict, played.look = ACTIVE, None
    later = bench.now + HOUR
    assert bench.book.fire(later, later, silence_counts=False) == []
    assert len(played.asked) == 1
    bench.book.put_off_looks(later, later + MINUTE)
    assert bench.book.next_deadline == later + MINUTE
    bench.book.fire(later + MINUTE, later + MINUTE, silence_counts=True)
    assert played.asked[1:] == [later + MINUTE]
    delay = round(bench.alarm(SILENCE).configured.on_delay_seconds * SECOND)
    assert bench.book.next_deadline == later + MINUTE + delay


def test_a_look_may_move_to_an_earlier_time_and_never_past_one() -> None:
    """Asked to look sooner it does; asked to look later it keeps the earlier look."""
    bench = Bench()
    for ask, looks in ((60, 60), (30, 30), (90, 30)):
        bench.played[SILENCE].look = START + ask * MINUTE
        bench.says(SILENCE, CLEAR)
        assert bench.book.next_deadline == START + looks * MINUTE


def test_a_take_of_a_number_that_is_no_alarms_changes_nothing() -> None:
    """Nor does a second take of the same, nor one of 0, which no alarm has."""
    bench = Bench()
    bench.says(SILENCE, ACTIVE)
    bench.wait(2 * MINUTE)
    for number in (0, 2, -1):
        assert bench.book.take(number, "yard", bench.now) == []
    (taken,) = bench.book.take(1, "yard", bench.now)
    assert (taken.event, taken.by, taken.state) == ("taken", "yard", AlarmState.ACKNOWLEDGED)
    assert taken.output is not None
    assert taken.output.by == "Yard lead"
    assert bench.book.take(1, "dispatch", bench.now) == []


def test_a_cleared_alarm_keeps_the_words_of_what_was_wrong() -> None:
    """What cleared is named by what it was raised for, in the past."""
    bench = Bench()
    bench.says(SILENCE, ACTIVE)
    bench.wait(2 * MINUTE)
    assert bench.alarm(SILENCE).life.past == "was silent"


def test_a_take_that_an_older_version_kept_comes_back_without_its_time() -> None:
    """It had kept no time of it: the journal says "long ago", and invents none."""
    bench = Bench()
    bench.says(SILENCE, ACTIVE)
    bench.wait(2 * MINUTE)
    bench.book.take(1, "yard", bench.now)
    kept = orjson.loads(orjson.dumps(bench.book.snapshot()))
    for cut, said in ((None, "24 h ago"), (3, "long ago")):
        old = Bench()
        life = kept["alarms"][SILENCE][0]
        life["taken"] = life["taken"][:cut]
        old.book.restore(kept)
        old.now = bench.now
        (back,) = [one for one in old.wait(4 * DAY) if one.event is Event.OVERDUE][:1]
        assert back.output is not None
        assert back.output.why == f"taken {said}, and not cured"


def test_alarms_that_the_plan_has_no_more_are_left_behind() -> None:
    """A snapshot with another depot's sensors gives what is known here, and nothing breaks."""
    bench = Bench()
    bench.says(SILENCE, ACTIVE)
    bench.wait(2 * MINUTE)
    fewer = {name: one for name, one in plan().sensors.items() if name != "level"}
    other = AlarmBook(site_of(replace(plan(), sensors=fewer)))
    other.restore(bench.book.snapshot())
    assert SILENCE not in {booked.key for booked in other.all}
    assert other.number == 1
