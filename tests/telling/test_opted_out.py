"""Who opted out of texts gets none, the next is told at once, and only opting in changes that."""

from collections.abc import Iterable

from brineward.plant.plan import Duty
from brineward.readings.entries import Delivery
from brineward.readings.outputs import AlarmState, Output, TextDue
from depots import DEPOT
from engine.scripted import Script, World, text_of, with_sensors

THREE = Duty(on_call=("yard", "dispatch", "chief"), names={"yard": "Yard lead"})


def frozen() -> Script:
    """A depot whose shelter is frozen: a high alarm after five minutes."""
    return Script(with_sensors("shelter", duty=THREE), world=World(shelter=-3.0))


def people(outputs: Iterable[Output], number: int) -> list[str]:
    """Who is texted about an occurrence."""
    return [o.person for o in outputs if isinstance(o, TextDue) and o.number == number]


def accepted(script: Script, person: str) -> tuple[Output, ...]:
    """A gateway says that it took a text to somebody."""
    return script.step(
        Delivery(
            depot=DEPOT, time=script.time, text="x", number=1, person=person, outcome="accepted"
        )
    )


def test_the_next_is_told_at_once_and_nobody_is_passed_over() -> None:
    """The yard was told and opts out: dispatch is told now, the chief when it is their turn."""
    script = frozen().run(400)
    assert people(script.outputs, 1) == ["yard"]
    assert people(script.step(script.answer("yard", opted="out")), 1) == ["dispatch"]
    script.run(script.now + 610)
    assert people(script.outputs, 1) == ["yard", "dispatch", "chief"]


def test_skipped_from_the_first_round_on() -> None:
    """Opted out before: the alarm begins with dispatch, and no round ever goes to the yard."""
    script = frozen()
    script.step(script.answer("yard", opted="out"))
    number = script.run(4 * 3600).changes("shelter-freezing")[0].number
    told = people(script.outputs, number)
    assert told[:4] == ["dispatch", "chief", "dispatch", "chief"]
    assert "yard" not in told


def test_an_accepted_text_doesnt_make_them_reachable() -> None:
    """A late word of the gateway is about what went before: only they themselves opt in again."""
    script = frozen().run(100)
    script.step(script.answer("yard", opted="out"))
    accepted(script, "yard")
    assert script.state("texts-failing", "yard") is AlarmState.UNACKNOWLEDGED
    assert "they texted STOP" in text_of(script.texts("raised")[0])
    script.restart()
    script.run(2000)
    assert script.texts(person="yard") == []
    script.step(script.answer("yard", opted="in"))
    assert script.state("texts-failing", "yard") is AlarmState.RETURNED_UNACKNOWLEDGED
    script.run(script.now + 3 * 3600)
    assert "yard" in people(script.outputs, script.changes("shelter-freezing")[0].number)


def test_that_it_cleared_or_was_taken_is_not_sent_either() -> None:
    """Told before, opted out since: no text at all; the others read it."""
    for end in ("cleared", "taken"):
        script = frozen().run(1000)
        script.step(script.answer("yard", opted="out"))
        if end == "taken":
            script.step(script.take(1, by="chief"))
        else:
            script.at(script.now, shelter=8.0).run(script.now + 2000)
        told = {text.person for text in script.texts(end) if text.number == 1}
        assert "dispatch" in told
        assert "yard" not in told


def test_their_own_question_is_answered_all_the_same() -> None:
    """What they ask for by a text of their own is answered: they wrote."""
    script = frozen().run(100)
    script.step(script.answer("yard", opted="out"))
    (text,) = [
        o
        for o in script.step(script.answer("yard", body="You get no more texts."))
        if isinstance(o, TextDue)
    ]
    assert (text.person, text_of(text)) == ("yard", "You get no more texts.")


def test_with_everybody_out_the_watch_goes_on_and_whoever_opts_in_is_told() -> None:
    """No storm, no end of rounds: the first who can be reached again hears of it."""
    script = frozen().run(400)
    for person in THREE.on_call:
        script.step(script.answer(person, opted="out"))
    sent = len(script.texts())
    script.run(script.now + 2 * 3600)
    assert len(script.texts()) == sent
    script.step(script.answer("chief", opted="in"))
    script.run(script.now + 3700)
    assert people(script.outputs, 1)[-1] == "chief"
