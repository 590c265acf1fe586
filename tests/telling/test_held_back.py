"""What people do with an alarm besides taking it, and what the others are told of it."""

from dataclasses import replace

from brineward.alarms.condition import CLEAR, Finding, Verdict
from brineward.book.life import Life
from brineward.plant.idle_hours import IdleHours
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, local_from_instant
from brineward.readings.outputs import AlarmState, Priority, TextDue
from brineward.telling.again import AGAIN
from brineward.telling.wording import COMES_AND_GOES, HANDED_BACK, NOT_CURED, STILL
from brineward.wording.segment import segment
from depots import START, plan
from playing import ACTIVE, DEPOT_SILENCE, SILENCE, Bench

GRAVE = Verdict(True, replace(Finding(value=61.0), priority=Priority.HIGH))


def raised() -> tuple[Bench, list[TextDue]]:
    """The depot is silent, and the yard has been texted."""
    bench = Bench()
    texts = bench.told(bench.says(DEPOT_SILENCE, ACTIVE), 2 * MINUTE)
    return bench, texts


def taken(by: str = "yard") -> Bench:
    """The same, and somebody has taken it."""
    bench, _ = raised()
    bench.told(bench.book.take(1, by, bench.now))
    return bench


def people(texts: list[TextDue]) -> list[str]:
    """Who was texted."""
    return [text.person for text in texts]


def body(text: TextDue) -> str:
    """What the phone shows."""
    return segment(text.notice)


def test_handed_back_the_next_person_is_called_at_once() -> None:
    """Who took it hasn't got it: dispatch reads so in the same second, the yard no more."""
    bench = taken()
    (text,) = bench.told(bench.handle("hand back", number=1))
    assert (text.person, text.kind) == ("dispatch", "again")
    assert body(text).startswith("TH1, handed back,")
    assert bench.alarm(DEPOT_SILENCE).life.state is AlarmState.UNACKNOWLEDGED


def test_handed_back_a_low_alarm_goes_to_the_next_person_too() -> None:
    """Not to who has just handed it back, a day later."""
    bench = Bench()
    booked = bench.alarm(DEPOT_SILENCE)
    booked.life._own_priority = booked.life.priority = Priority.LOW
    bench.told(bench.says(DEPOT_SILENCE, ACTIVE), 2 * MINUTE)
    bench.told(bench.book.take(1, "yard", bench.now))
    assert people(bench.told(bench.handle("hand back", number=1))) == ["dispatch"]
    bench.told([], 5 * HOUR)  # past 23:00
    bench.told(bench.book.take(1, "yard", bench.now))
    assert people(bench.told(bench.handle("hand back", number=1), HOUR)) == []
    assert people(bench.told([], 9 * HOUR)) == ["dispatch"], "at seven in the morning"


def test_handed_back_it_wakes_the_next_person_where_nobody_else_is_left() -> None:
    """Dispatch sleeps while the yard is awake, but the yard has just said no."""
    own = plan()
    quiet = {"dispatch": IdleHours(begin=17 * 60, end=23 * 60)}
    bench = Bench(replace(own, duty=replace(own.duty, quiet=quiet)))
    assert people(bench.told(bench.says(DEPOT_SILENCE, ACTIVE), 2 * MINUTE)) == ["yard"]
    bench.told(bench.book.take(1, "yard", bench.now))
    assert people(bench.told(bench.handle("hand back", number=1))) == ["dispatch"]


def test_who_hands_it_back_last_of_all_is_called_again_no_sooner_than_everybody_is() -> None:
    """Dispatch, the last on call, hands it back: the yard is called at once; both after a pause."""
    bench = taken(by="dispatch")
    assert people(bench.told(bench.handle("hand back", by="dispatch", number=1))) == ["yard"]
    assert people(bench.told([], 20 * MINUTE)) == ["yard", "dispatch"]


def test_only_who_has_it_can_hand_it_back() -> None:
    """Dispatch doesn't undo the yard's take."""
    bench = taken()
    assert bench.handle("hand back", by="dispatch", number=1) == []
    assert bench.alarm(DEPOT_SILENCE).life.taken_by == "yard"


def test_not_me_before_anybody_took_it_calls_the_next_now() -> None:
    """Whom it was told last says no: nobody waits ten minutes; a bystander's no is none."""
    bench, _ = raised()
    assert bench.telling.declined(1, "dispatch", bench.now, 0) == []
    assert people(bench.telling.declined(1, "yard", bench.now, 0)) == ["dispatch"]
    assert bench.telling.declined(1, "yard", bench.now, 0) == []


def test_a_take_that_is_not_cured_comes_back_to_who_has_it_and_then_goes_on() -> None:
    """Four times its hour: the one who took it first, then the others, then everybody."""
    bench = taken(by="dispatch")
    assert bench.told([], 4 * HOUR - 1) == []
    texts = bench.told([], 1)
    assert people(texts) == ["dispatch"]
    assert body(texts[0]).startswith("TH1, still active,")
    assert people(bench.told([], 10 * MINUTE))[:1] == ["yard"]


def test_what_has_no_fixed_time_to_respond_does_not_come_back_at_night() -> None:
    """The level's sensor, taken at 22:00 by the wall clock, comes back in the morning."""
    bench = Bench()
    booked = bench.alarm(SILENCE)
    assert booked.configured.record.respond_seconds is None
    bench.told(bench.says(SILENCE, ACTIVE), 5 * MINUTE)
    if booked.priority is Priority.LOW:
        bench.told([], DAY)
    number = booked.life.number
    bench.told([], (22 - local_from_instant(bench.now, plan().zone).hour) % 24 * HOUR)
    bench.told(bench.book.take(number, "yard", bench.now))
    texts = bench.told([], 5 * DAY)
    first = next(text for text in texts if "still active" in body(text))
    assert local_from_instant(bench.now, plan().zone).hour == 22
    assert local_from_instant(first.time, plan().zone).hour == 7


def test_a_graver_finding_is_told_again_with_its_priority_and_does_not_fall() -> None:
    """Taken as medium, found to be high: the same number, called again, high until it is over."""
    bench = taken()
    (text,) = bench.told(bench.says(DEPOT_SILENCE, GRAVE))
    assert (text.person, text.number, text.priority) == ("yard", 1, Priority.HIGH)
    assert body(text).startswith("TH1 NOW, got worse,")
    (change,) = bench.says(DEPOT_SILENCE, ACTIVE) or [None]
    assert change is None
    assert bench.alarm(DEPOT_SILENCE).priority is Priority.HIGH
    bench.told(bench.book.take(1, "yard", bench.now))
    bench.told(bench.says(DEPOT_SILENCE, CLEAR), 5 * MINUTE)
    assert bench.alarm(DEPOT_SILENCE).priority is Priority.MEDIUM


def test_shelved_the_others_are_told_and_nobody_is_called_until_its_end() -> None:
    """Whoever was woken reads who silenced it and until when; at its end it is announced again."""
    bench, _ = raised()
    bench.told([], 10 * MINUTE)
    until = bench.now + 2 * HOUR
    (note,) = bench.told(bench.handle("shelve", number=1, until=until, why="being mended"))
    assert (note.person, note.kind) == ("dispatch", "held back")
    assert body(note).startswith("Yard lead has shelved TH1 until ")
    assert bench.told([], 2 * HOUR - 1) == []
    (again,) = bench.told([], 1)
    assert (again.person, again.number) == ("yard", 1)
    assert body(again).startswith("TH1, shelving ended,")


def test_a_shelving_lives_through_a_restart_and_ends_when_it_would_have() -> None:
    """Written down and restored in the middle, it is announced at the same moment."""
    bench = taken()
    bench.told(bench.handle("shelve", number=1, until=bench.now + 2 * HOUR))
    other = Bench()
    other.now = bench.now
    other.played[DEPOT_SILENCE].verdict = ACTIVE
    other.book.restore(bench.book.snapshot())
    other.telling.restore(bench.telling.snapshot())
    assert other.alarm(DEPOT_SILENCE).life.state is AlarmState.SHELVED
    assert other.told([], 2 * HOUR - 1) == []
    assert people(other.told([], 1)) == ["yard"]


def test_a_high_alarm_is_shelved_for_an_hour_at_most_and_any_for_a_day() -> None:
    """However long somebody asks for; and what becomes high is shelved no more."""
    for verdict, hours in ((ACTIVE, 24), (GRAVE, 1)):
        bench = Bench()
        bench.told(bench.says(DEPOT_SILENCE, verdict), 2 * MINUTE)
        begun = bench.now
        bench.told(bench.handle("shelve", until=begun + 900 * HOUR))
        hold = bench.alarm(DEPOT_SILENCE).life.shelved
        assert hold is not None
        assert hold.until == begun + hours * HOUR
    bench = taken()
    bench.told(bench.handle("shelve", until=bench.now + 9 * HOUR))
    (text,) = bench.told(bench.says(DEPOT_SILENCE, GRAVE))
    assert body(text).startswith("TH1 NOW, shelving ended,")
    assert bench.alarm(DEPOT_SILENCE).life.state is AlarmState.UNACKNOWLEDGED


def test_what_a_graver_finding_has_ended_is_waited_for_no_more() -> None:
    """A shelving or a take's patience that has ended is no deadline: or time would stand still."""
    for held in ("shelve", "take"):
        bench = raised()[0] if held == "shelve" else taken()
        if held == "shelve":
            bench.told(bench.handle("shelve", until=bench.now + HOUR))
        else:
            bench.told(bench.book.take(1, "yard", bench.now))
        assert bench.book.next_deadline is not None
        bench.told(bench.says(DEPOT_SILENCE, GRAVE))
        assert bench.book.next_deadline is None


def test_an_alarm_that_clears_while_shelved_is_named_by_its_code_until_the_end() -> None:
    """That it cleared is announced once; who unshelves it by its code finds it."""
    bench, _ = raised()
    bench.told(bench.handle("shelve", number=1, until=bench.now + 5 * HOUR))
    cleared = bench.told(bench.says(DEPOT_SILENCE, CLEAR), 10 * MINUTE)
    assert [text.kind for text in cleared] == ["cleared"]
    (change,) = bench.handle("unshelve", number=1)
    assert change.state is AlarmState.NORMAL


def test_out_of_service_wakes_nobody_and_is_reminded_of_weekly_by_day() -> None:
    """Whatever its condition does; one text a week to the first on call, none once it is back."""
    bench = taken()
    bench.told(bench.handle("out of service", why="gateway is at the shop"))
    for verdict in (CLEAR, ACTIVE, CLEAR, ACTIVE):
        assert bench.told(bench.says(DEPOT_SILENCE, verdict), HOUR) == []
    texts = bench.told([], 15 * DAY)
    assert [(text.person, text.kind) for text in texts] == [("yard", "reminder")] * 2
    assert "out of service since Jan 14. Gateway is at the shop." in body(texts[0])
    assert all(7 <= local_from_instant(text.time, plan().zone).hour < 21 for text in texts)
    assert texts[0].time - START >= 7 * DAY
    (again,) = bench.told(bench.handle("back in service"), 5 * MINUTE)
    assert (again.person, again.kind) == ("yard", "raised")
    bench.told(bench.book.take(2, "yard", bench.now))
    assert [t for t in bench.told([], 9 * DAY) if t.kind == "reminder"] == []


def test_what_is_out_of_service_explains_nothing() -> None:
    """A consequence is not held back by a cause that nobody trusts; a shelved cause is trusted."""
    bench = taken()
    bench.told(bench.says(SILENCE, ACTIVE), 5 * MINUTE)
    silence = bench.alarm(SILENCE).life
    assert silence.state is AlarmState.SUPPRESSED
    bench.told(bench.handle("shelve", until=bench.now + HOUR))
    assert silence.state is AlarmState.SUPPRESSED
    bench.told(bench.handle("unshelve"))
    bench.told(bench.handle("out of service", why="gateway is at the shop"), 5 * MINUTE)
    assert silence.state is AlarmState.UNACKNOWLEDGED


def flap(bench: Bench) -> list[TextDue]:
    """It comes for two minutes and goes for five."""
    texts = bench.told(bench.says(DEPOT_SILENCE, ACTIVE), 2 * MINUTE)
    return texts + bench.told(bench.says(DEPOT_SILENCE, CLEAR), 5 * MINUTE)


def test_what_comes_and_goes_says_so_once_and_is_quiet_then() -> None:
    """Two times it is reported as ever; the third text says it, and a take of it holds for all."""
    bench = Bench()
    assert [text.kind for text in flap(bench)] == ["raised", "cleared"]
    assert [text.kind for text in flap(bench)] == ["again", "cleared"]
    (third,) = flap(bench)
    assert body(third).startswith("TH1, comes and goes,")
    assert "3 times since" in body(third)
    bench.told(bench.book.take(1, "yard", bench.now))
    for _ in range(6):
        assert flap(bench) == []
    assert [text.kind for text in bench.told([], HOUR)] == ["cleared"]
    assert [text.kind for text in flap(bench)] == ["raised", "cleared"]


def test_what_lingers_since_it_comes_and_goes_holds_no_consequence_back() -> None:
    """In the hour in which it may come again, another silence is judged by itself."""
    bench = Bench()
    for _ in range(3):
        flap(bench)
    assert bench.alarm(DEPOT_SILENCE).life.active
    bench.told(bench.says(SILENCE, ACTIVE), 5 * MINUTE)
    assert bench.alarm(SILENCE).life.state is AlarmState.UNACKNOWLEDGED
    bench.told(bench.says(DEPOT_SILENCE, ACTIVE))
    assert bench.alarm(SILENCE).life.state is AlarmState.SUPPRESSED


def test_a_latched_alarm_goes_on_calling_until_it_is_taken_and_stays_until_it_is_reset() -> None:
    """Its condition has gone and the danger has not: no text says that it cleared."""
    bench = Bench()
    booked = bench.alarm(DEPOT_SILENCE)
    booked.life = Life(
        on_delay_seconds=0, off_delay_seconds=0, priority=Priority.MEDIUM, latching=True
    )
    assert people(bench.told(bench.says(DEPOT_SILENCE, ACTIVE), SECOND)) == ["yard"]
    assert bench.handle("reset") == []
    assert bench.told(bench.says(DEPOT_SILENCE, CLEAR), SECOND) == []
    assert booked.life.state is AlarmState.LATCHED_UNACKNOWLEDGED
    assert people(bench.told([], 10 * MINUTE)) == ["dispatch"]
    *_, note = bench.told(bench.book.take(1, "yard", bench.now))
    assert booked.life.state is AlarmState.LATCHED_ACKNOWLEDGED
    assert (note.person, note.kind) == ("yard", "reminder")
    assert body(note).endswith("Once somebody has checked it: brineward reset TH1.")
    bench.told(bench.handle("reset", number=1))
    assert (booked.life.state, booked.life.number) == (AlarmState.NORMAL, 0)
    assert bench.told([], 6 * HOUR) == []


def test_every_change_is_kept_with_who_and_why() -> None:
    """A record says who shelved it, until when and why, and what ended it."""
    bench = taken()
    until = bench.now + HOUR
    changes = bench.handle("shelve", number=1, until=until, why="being mended")
    changes += bench.says(DEPOT_SILENCE, CLEAR) + bench.wait(HOUR)
    kept = [one.output for one in changes if one.output is not None]
    assert [(o.by, o.why, o.until) for o in kept] == [
        ("Yard lead", "being mended", until),
        ("Yard lead", "being mended", until),
        ("", "its time is over", None),
    ]
    assert [o.state.value for o in kept] == ["shelved", "shelved", "normal"]


def test_each_why_of_a_text_told_again_is_as_short_as_the_texts_were_read_with() -> None:
    """What to do is never cut: no word before the depot's name is longer than the longest there."""
    again = [*AGAIN.values(), COMES_AND_GOES, HANDED_BACK, NOT_CURED]
    assert max(len(word) for word in again) <= len(STILL)


def test_who_has_done_what_was_asked_is_not_told_that_it_is_done() -> None:
    """An alarm that clears unsaid says nothing when it has cleared; any other does."""
    said = []
    for unsaid in (False, True):
        bench, _ = raised()
        booked = bench.alarm(DEPOT_SILENCE)
        record = replace(booked.configured.record, clears_unsaid=unsaid)
        booked.configured = replace(booked.configured, record=record)
        said.append([one.kind for one in bench.told(bench.says(DEPOT_SILENCE, CLEAR), HOUR)])
        assert not booked.life.active
    assert said == [["cleared"], []]
