"""Who is told, when and how often: rounds, takes, mornings, dead letters, news that is old."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import pytest

from brineward.engine.engine import Engine
from brineward.plant.plan import DepotPlan, Duty
from brineward.readings.entries import Delivery, ServiceTrouble, Take, Tick
from brineward.readings.instants import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Instant,
    instant_from_rfc3339,
    local_from_instant,
)
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, TextDue
from depots import DEPOT, START, plan
from engine.scripted import Script, World, seconds_of, text_of, with_sensors

CHICAGO = ZoneInfo("America/Chicago")
THREE = Duty(on_call=("yard", "dispatch", "chief"), names={"yard": "Yard lead"})


def frozen(duty: Duty | None = None) -> Script:
    """A depot whose shelter is frozen from the start: a high alarm after five minutes."""
    return Script(with_sensors("shelter", duty=duty or plan().duty), world=World(shelter=-3.0))


def rounds(script: Script) -> list[tuple[float, str]]:
    """Minutes after the first text, and who was texted."""
    texts = [t for t in script.texts() if t.kind in ("raised", "again")]
    return [((t.time - texts[0].time) / MINUTE, t.person) for t in texts]


def test_each_in_turn_then_everybody_with_longer_pauses() -> None:
    """Yard, ten minutes later dispatch, the chief, then all three, pauses doubling to an hour."""
    found = rounds(frozen(THREE).run(6 * 3600))
    everybody = ["yard", "dispatch", "chief"]
    assert found[:3] == [(0, "yard"), (10, "dispatch"), (20, "chief")]
    later = [minutes for minutes, person in found[3:] if person == "yard"]
    assert later == [30, 50, 90, 150, 210, 270, 330]
    for minutes in later:
        assert [person for when, person in found if when == minutes] == everybody


def test_the_first_text_is_new_and_the_rest_say_why_they_come() -> None:
    """Whoever reads a second text sees that it is the same alarm, and why there is another."""
    script = frozen().run(3600)
    first, second, *rest = [t for t in script.texts() if t.kind in ("raised", "again")]
    assert (first.person, first.kind) == ("yard", "raised")
    assert text_of(first).startswith("TH1 NOW Tern Hollow")
    assert (second.person, second.kind) == ("dispatch", "raised")
    assert text_of(second).startswith("TH1 NOW, not taken yet,")
    assert rest
    assert all(t.kind == "again" for t in rest)
    assert all(text_of(t).startswith("TH1 NOW, still not taken,") for t in rest)


def test_every_text_has_an_id_of_its_own() -> None:
    """No two texts can be taken for one and the same by the outbox."""
    script = frozen(THREE).run(6 * 3600)
    ids = [text.id for text in script.texts()]
    assert len(ids) == len(set(ids))


def test_a_take_stops_the_rounds_and_tells_the_others() -> None:
    """Taken by dispatch: no more rounds, the yard reads who has it, dispatch is not texted."""
    script = frozen().take_at(1300, by="dispatch").run(2 * 3600)
    assert rounds(script) == [(0, "yard"), (10, "dispatch")]
    (taken,) = script.texts("taken")
    assert (taken.person, seconds_of(taken.time)) == ("yard", 1300)
    assert text_of(taken).startswith("dispatch has TH1,")
    assert script.state("shelter-freezing") is AlarmState.ACKNOWLEDGED


def test_a_take_names_people_as_the_config_does() -> None:
    """The log and the text have the person's name, not the id."""
    script = frozen().take_at(1300, by="yard").run(2000)
    assert script.changes()[-1].by == "Yard lead"
    assert "Yard lead" in text_of(script.texts("taken")[0])


def test_a_take_of_another_number_changes_nothing() -> None:
    """A number that is no alarm's takes nothing."""
    script = frozen().run(600)
    for number in (2, 0, -1):
        assert script.step(script.take(number)) == ()
    assert script.state("shelter-freezing") is AlarmState.UNACKNOWLEDGED


def test_that_it_has_cleared_is_told_to_all_who_were_told_and_to_no_other() -> None:
    """The yard and dispatch were woken; both read that it cleared, the chief is left alone."""
    script = frozen(THREE).at(500, shelter=8.0).run(4 * 3600)
    assert {t.person for t in script.texts("cleared")} == {"yard", "dispatch"}
    assert len(script.texts("cleared")) == 2
    assert rounds(script)[-1][1] == "dispatch"


def test_that_it_has_cleared_after_a_take_is_told_to_the_one_who_has_it_too() -> None:
    """Whoever drove out is told that it has cleared."""
    script = frozen().take_at(400).at(1200, shelter=8.0).run(4 * 3600)
    assert [t.person for t in script.texts("cleared")] == ["yard"]
    assert script.state("shelter-freezing") is AlarmState.NORMAL


def test_the_next_time_has_a_new_number_and_begins_with_the_first_on_call() -> None:
    """Taken and cleared is done; what comes next is another occurrence with its own rounds."""
    script = frozen().take_at(400).at(1200, shelter=8.0).at(6000, shelter=-3.0).run(7500)
    raised = [(t.number, t.person) for t in script.texts("raised")]
    assert raised == [(1, "yard"), (2, "yard"), (2, "dispatch")]


def test_back_before_anybody_took_it_is_the_same_alarm_again() -> None:
    """Returned and abnormal again, never taken: the same number, told again from the first on."""
    script = frozen().at(1200, shelter=8.0).at(6000, shelter=-3.0).run(7500)
    assert {t.number for t in script.texts()} == {1}
    after = [t for t in script.texts("again") if seconds_of(t.time) > 6000]
    assert after[0].person == "yard"
    assert text_of(after[0]).startswith("TH1 NOW, active again,")


def test_taken_after_it_has_cleared_says_so_and_ends_it() -> None:
    """A late take of an alarm that has cleared already is still a take."""
    script = frozen().at(400, shelter=8.0).run(3600)
    assert script.state("shelter-freezing") is AlarmState.RETURNED_UNACKNOWLEDGED
    script.take_at(3700).run(3800)
    assert script.state("shelter-freezing") is AlarmState.NORMAL


# -- dead letters


def delivery(
    text: TextDue, outcome: Literal["accepted", "dead"], time: Instant, why: str = ""
) -> Delivery:
    """What became of a text."""
    return Delivery(
        depot=DEPOT,
        time=time,
        text=text.id,
        number=text.number,
        person=text.person,
        outcome=outcome,
        why=why,
    )


def dead(script: Script, text: TextDue, why: str = "refused") -> tuple[Output, ...]:
    """The outbox gives a text up, now."""
    time = START + script.now * SECOND
    return script.step(delivery(text, "dead", time, why))


def accepted(script: Script, text: TextDue) -> tuple[Output, ...]:
    """The gateway takes a text, now."""
    time = START + script.now * SECOND
    return script.step(delivery(text, "accepted", time))


def test_a_dead_letter_sends_the_next_person_at_once() -> None:
    """The yard can't be reached: dispatch is told of the alarm now, not in ten minutes."""
    script = frozen().run(310)
    (first,) = script.texts("raised")
    found = [o for o in dead(script, first) if isinstance(o, TextDue)]
    about = [t for t in found if t.number == first.number]
    assert [t.person for t in about] == ["dispatch"]


def test_who_fails_is_not_texted_that_texts_to_them_fail() -> None:
    """The alarm about the yard's texts goes to dispatch, and says to call the yard."""
    script = frozen().run(310)
    dead(script, script.texts("raised")[0])
    script.run(3600)
    failing = {c.number for c in script.changes("texts-failing")}
    told = [t for t in script.texts() if t.number in failing]
    assert {t.person for t in told} == {"dispatch"}
    assert "texts don't reach Yard lead: refused" in text_of(told[0])
    assert "Phone them" in text_of(told[0])


def test_one_delivery_ends_it() -> None:
    """The next text that gets through ends the alarm about that person."""
    script = frozen().run(310)
    dead(script, script.texts("raised")[0])
    script.run(1000)
    accepted(script, [t for t in script.texts() if t.person == "yard"][-1])
    assert script.state("texts-failing", "yard") is AlarmState.RETURNED_UNACKNOWLEDGED


def test_dead_letters_of_everybody_do_not_run_through_all_rounds_at_once() -> None:
    """Where nobody can be reached, pauses hold: no storm of texts that fail."""
    script = frozen(THREE).run(310)
    for _ in range(5):
        for text in script.texts():
            dead(script, text)
    first = script.texts("raised")[0].number
    assert len([t for t in script.texts() if t.number == first]) <= 3


def test_a_dead_letter_about_what_is_taken_wakes_nobody() -> None:
    """Somebody has it: a text that failed before needs no hurry."""
    script = frozen().take_at(320).run(330)
    found = dead(script, script.texts("raised")[0])
    assert [o for o in found if isinstance(o, TextDue) and o.number == 1] == []


@pytest.mark.parametrize("number", [0, 1, 7, -1])
@pytest.mark.parametrize("person", ["nobody", "", "yard"])
def test_deliveries_of_unknown_texts_do_no_harm(person: str, number: int) -> None:
    """A text that isn't ours, or to somebody who has left, changes no alarm but its own."""
    script = frozen().run(310)
    before = script.state("shelter-freezing")
    stray = replace(script.texts("raised")[0], id="x", number=number, person=person)
    dead(script, stray)
    assert script.state("shelter-freezing") is before
    failing = {c.source for c in script.changes("texts-failing")}
    assert failing == ({"yard"} if person == "yard" else set())


@pytest.mark.parametrize("text", ["", "x", DEPOT, f"{DEPOT}-7-raised-1-dispatch", "9" * 5000])
def test_a_texts_id_is_not_read(text: str) -> None:
    """Number and person come beside the id, which may be anything."""
    told = []
    for name in (text, frozen().run(310).texts("raised")[0].id):
        script = frozen().run(310)
        told.append(dead(script, replace(script.texts("raised")[0], id=name)))
    assert told[0] == told[1]
    assert {o.person for o in told[0] if isinstance(o, TextDue)} == {"dispatch"}


def test_a_low_alarm_whose_text_died_goes_to_the_next() -> None:
    """A low alarm stays with the first who is reached, not with one who isn't."""
    engine, found = low_alarm("2026-01-14T18:00:00Z")
    (text,) = texts(found)
    assert text.person == "yard"
    more = engine.step(delivery(text, "dead", text.time + MINUTE, "no"))
    assert [t.person for t in texts(more) if t.number == text.number] == ["dispatch"]


# -- mornings


def low_alarm(moment: str, until: str = "") -> tuple[Engine, list[Output]]:
    """An alarm of low priority raised a minute after a moment, with nobody taking it."""
    now = instant_from_rfc3339(moment)
    engine = Engine({DEPOT: plan(zone=CHICAGO)})
    trouble = ServiceTrouble(time=now, trouble="disk-low", present=True, sentence="3 MB left")
    found = list(engine.step(trouble))
    end = instant_from_rfc3339(until) if until else now + DAY - MINUTE
    while (deadline := engine.next_deadline) is not None and deadline <= end:
        found += engine.step(Tick(time=deadline))
    return engine, found


def texts(outputs: Iterable[Output]) -> list[TextDue]:
    """The texts among outputs."""
    return [o for o in outputs if isinstance(o, TextDue)]


def local(instant: Instant) -> str:
    """The wall clock at the depot."""
    return f"{local_from_instant(instant, CHICAGO):%m-%d %H:%M}"


@pytest.mark.parametrize(
    ("raised", "told"),
    [
        ("2026-01-15T12:30:00-06:00", "01-15 12:31"),
        ("2026-01-15T20:58:59-06:00", "01-15 20:59"),
        ("2026-01-15T20:59:30-06:00", "01-16 07:00"),
        ("2026-01-15T23:59:30-06:00", "01-16 07:00"),
        ("2026-01-16T00:00:00-06:00", "01-16 07:00"),
        ("2026-01-16T06:58:30-06:00", "01-16 07:00"),
        ("2026-01-16T06:59:00-06:00", "01-16 07:00"),
        # The night of 8 March 2026 is an hour shorter, that of 1 November an hour longer.
        ("2026-03-07T22:00:00-06:00", "03-08 07:00"),
        ("2026-03-08T01:58:30-06:00", "03-08 07:00"),
        ("2026-03-08T03:10:00-05:00", "03-08 07:00"),
        ("2026-10-31T22:00:00-05:00", "11-01 07:00"),
        ("2026-11-01T01:30:00-05:00", "11-01 07:00"),
        ("2026-11-01T01:30:00-06:00", "11-01 07:00"),
        ("2026-11-01T06:58:00-06:00", "11-01 07:00"),
    ],
)
def test_low_priority_waits_for_seven_in_the_morning(raised: str, told: str) -> None:
    """Low alarms of the night are texted at 07:00 local, in the nights of clock changes too."""
    _, found = low_alarm(raised)
    assert [local(text.time) for text in texts(found)] == [told]


@pytest.mark.parametrize("change", ["2026-03-07T07:00:00-06:00", "2026-10-31T07:00:00-05:00"])
def test_its_repeats_keep_to_waking_hours_over_a_clock_change(change: str) -> None:
    """A day later may be an hour earlier on the wall: repeats wait for seven as well."""
    now = instant_from_rfc3339(change)
    until = (local_from_instant(now, CHICAGO) + timedelta(days=5)).isoformat()
    _, found = low_alarm(change, until)
    hours = [local_from_instant(text.time, CHICAGO).hour for text in texts(found)]
    assert len(hours) >= 4
    assert all(7 <= hour < 21 for hour in hours)


def test_a_low_alarm_that_has_cleared_by_morning_wakes_nobody() -> None:
    """Gone in the night: in the log, and in no text."""
    begun = instant_from_rfc3339("2026-01-15T23:00:00-06:00")
    engine, found = low_alarm("2026-01-15T23:00:00-06:00", "2026-01-16T01:00:00-06:00")
    gone = ServiceTrouble(time=begun + 3 * HOUR, trouble="disk-low", present=False, sentence="")
    found += engine.step(gone)
    found += engine.step(Tick(time=begun + 2 * DAY))
    assert [o.state for o in found if isinstance(o, AlarmChanged)] == [
        AlarmState.UNACKNOWLEDGED,
        AlarmState.RETURNED_UNACKNOWLEDGED,
    ]
    assert texts(found) == []


@pytest.mark.parametrize("hour", [3, 12, 23])
def test_high_and_medium_alarms_do_not_wait(hour: int) -> None:
    """Damaged records are medium: announced at night as by day."""
    now = instant_from_rfc3339(f"2026-01-15T{hour:02}:00:00-06:00")
    engine = Engine({DEPOT: plan(zone=CHICAGO)})
    trouble = ServiceTrouble(time=now, trouble="records-damaged", present=True, sentence="page 7")
    (text,) = texts(engine.step(trouble))
    assert text.time == now


# -- answers


def test_an_answer_goes_back_to_who_asked_and_to_nobody_else() -> None:
    """What replies ask for is one text to that person, however long the answer is."""
    script = frozen().run(100)
    answer = script.answer("yard", body="There is no alarm TH9. " * 20)
    (text,) = texts(script.step(answer))
    assert (text.person, text.kind) == ("yard", "answer")
    assert len(text_of(text)) <= 160


def test_who_opts_out_is_told_to_the_others() -> None:
    """A person who opted out can't be woken: the next on call learns that at once."""
    script = frozen().run(100)
    script.step(script.answer("yard", opted="out"))
    told = script.texts("raised")
    assert [t.person for t in told] == ["dispatch"]
    assert "they texted STOP" in text_of(told[0])


def test_with_nobody_on_call_nothing_breaks() -> None:
    """A depot without people still has its log."""
    nobody: DepotPlan = replace(with_sensors("shelter"), duty=Duty())
    script = Script(nobody, world=World(shelter=-3.0)).run(3600)
    assert len(script.raised("shelter-freezing")) == 1
    assert script.texts() == []


def test_an_act_of_another_time_is_no_harm() -> None:
    """A take that arrives with an old time takes, and time does not go back."""
    script = frozen().run(400)
    then = START - HOUR
    old = Take(depot=DEPOT, time=then, received=then, number=1, by="yard")
    found = script.step(old)
    assert any(isinstance(o, AlarmChanged) and o.by == "Yard lead" for o in found)
    assert all(o.time >= START for o in found if isinstance(o, AlarmChanged))
