"""Duty goes from one to the next: both read it, and an alarm that nobody has goes with it."""

from dataclasses import replace
from datetime import date

from brineward.engine.engine import Engine
from brineward.plant.idle_hours import IdleHours
from brineward.plant.plan import Duty
from brineward.plant.rota import Rota
from brineward.readings.entries import RotaRead, Shift, Started, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE
from brineward.readings.outputs import AlarmState, TextDue
from depots import DEPOT, START, plan
from engine.scripted import Script, World, text_of, with_sensors

TWO = ("yard", "dispatch")
NAMES = {"yard": "Yard lead", "dispatch": "Dispatch desk"}
# START is 18:00 UTC; the depot of these tests lives by UTC.
ROTA = Rota(people=TWO, every="day", begins=date(2026, 1, 14), handover_minutes=19 * 60)
HANDOVER = 3600


def duty(**more: object) -> Duty:
    """Dispatch until 19:00, then the yard for a day."""
    return replace(Duty(on_call=TWO, names=NAMES, replies=True, rota=ROTA), **more)


def frozen(seconds: int, **more: object) -> Script:
    """A depot whose shelter freezes so many seconds in; high after five minutes."""
    script = Script(with_sensors("shelter", duty=duty(**more)), world=World(shelter=8.0))
    return script.at(seconds, shelter=-3.0)


def said(script: Script, kind: str) -> list[tuple[str, str]]:
    """Who reads what, of one kind."""
    return [(t.person, text_of(t)) for t in script.texts(kind)]


def test_both_read_it_at_the_handover_and_nobody_before() -> None:
    """To the second, once, with until when and who is."""
    script = frozen(10**6).run(HANDOVER - 1)
    assert said(script, "handover") == []
    script.run(HANDOVER + 3000)
    assert said(script, "handover") == [
        ("yard", "Tern Hollow: you are on call now until Thu 19:00. No alarm is active."),
        ("dispatch", "Tern Hollow: Yard lead is on call now, you are off."),
    ]
    assert {t.time for t in script.texts("handover")} == {START + HOUR}


def test_who_is_on_duty_is_called_first() -> None:
    """Before the handover dispatch, after it the yard, though the yard stands first in the list."""
    assert frozen(100).run(1000).texts("raised")[0].person == "dispatch"
    assert frozen(HANDOVER + 100).run(HANDOVER + 1000).texts("raised")[0].person == "yard"


def test_an_alarm_that_nobody_has_is_handed_over() -> None:
    """Dispatch was called and has not answered: the yard is called at the handover."""
    script = frozen(HANDOVER - 800).run(HANDOVER + 60)
    (to_new, to_old) = said(script, "handover")
    assert "Nobody has TH1: texts follow." in to_new[1]
    assert "TH1 handed over." in to_old[1]
    last = [t for t in script.texts() if t.number == 1][-1]
    assert last.person == "yard"
    assert text_of(last).startswith("TH1 NOW, handed over, Tern Hollow")
    assert last.time == START + HOUR


def test_an_alarm_that_somebody_has_stays_theirs() -> None:
    """Dispatch took it: nobody is called at the handover, and both read who has it."""
    script = frozen(HANDOVER - 800).take_at(HANDOVER - 100, by="dispatch").run(HANDOVER + 60)
    (to_new, to_old) = said(script, "handover")
    assert "Dispatch desk has TH1." in to_new[1]
    assert "You still have TH1. To hand it over, reply TH1 back." in to_old[1]
    assert [t.person for t in script.texts() if t.number == 1] == ["dispatch"]
    assert script.state("shelter-freezing") is AlarmState.ACKNOWLEDGED


def test_a_restart_before_or_after_the_handover_changes_nothing() -> None:
    """What is remembered of the rota is in the snapshot."""
    whole = frozen(HANDOVER - 800).run(HANDOVER + 700)
    for stop in (1, HANDOVER - 400, HANDOVER - 1, HANDOVER, HANDOVER + 1):
        script = frozen(HANDOVER - 800).run(stop)
        script.restart()
        script.run(HANDOVER + 700)
        assert script.outputs == whole.outputs


def quiet_engine(**more: object) -> tuple[Engine, list[TextDue]]:
    """An engine of a depot with no sensor, ticked at noon, and where its texts go."""
    engine = Engine({DEPOT: plan(sensors={}, alarms={}, duty=duty(**more))})
    texts: list[TextDue] = []
    for entry in (Started(time=START, version="", config_hash="", zone_data=""), Tick(time=START)):
        texts += [o for o in engine.step(entry) if isinstance(o, TextDue)]
    return engine, texts


def handovers(engine: Engine, *entries: object) -> list[tuple[str, int]]:
    """Who is told of a handover, and how long after the start in minutes."""
    found = [o for one in entries for o in engine.step(one)]  # type: ignore[arg-type]
    return [
        (o.person, (o.time - START) // MINUTE)
        for o in found
        if isinstance(o, TextDue) and o.kind == "handover"
    ]


def test_several_handovers_while_the_watch_was_down_are_one() -> None:
    """Down for three days: one text each, now, by who it is now."""
    engine, _ = quiet_engine()
    back = START + 2 * DAY + 2 * HOUR
    started = Started(time=back, version="", config_hash="", zone_data="")
    minutes = (back - START) // MINUTE
    assert handovers(engine, started, Tick(time=back)) == [("yard", minutes), ("dispatch", minutes)]


def test_a_calendar_that_is_read_hands_over_at_once() -> None:
    """The calendar says the yard from now on: both read it; read again, nobody does."""
    engine, _ = quiet_engine()
    shift = Shift(begins=START, ends=START + 10 * HOUR, person="yard")
    read = RotaRead(depot=DEPOT, time=START + MINUTE, received=START + MINUTE, shifts=(shift,))
    assert handovers(engine, read) == [("yard", 1), ("dispatch", 1)]
    again = replace(read, time=START + 2 * MINUTE)
    assert handovers(engine, again) == []
    assert handovers(engine, Tick(time=START + 2 * HOUR)) == []
    kept = engine.snapshots()
    other = Engine({DEPOT: plan(sensors={}, alarms={}, duty=duty())})
    other.restore(kept)
    assert other.snapshots() == kept


def test_quiet_hours_pass_over_a_person_but_for_high_alarms() -> None:
    """A high alarm wakes them; what is no high one goes to the next who is awake."""
    quiet = {"dispatch": IdleHours(begin=0, end=23 * 60 + 59)}
    script = frozen(100, quiet=quiet).run(1000)
    assert script.texts("raised")[0].person == "dispatch"
    silent = Script(with_sensors("shelter", "level", duty=duty(quiet=quiet)))
    silent.world.silent.add("level")
    silent.run(3000)
    medium = [t for t in silent.texts("raised") if t.priority != "high"]
    assert medium
    assert all(t.person != "dispatch" for t in medium[:1])


def test_a_depot_without_a_rota_never_hands_over() -> None:
    """The list as it always was: the first is called first, and no text says more."""
    script = Script(with_sensors("shelter")).run(2 * 24 * 3600)
    assert script.texts("handover") == []
