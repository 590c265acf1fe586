"""What is wrong with the watch itself: each trouble raises its own alarm, and its end clears it."""

from typing import Any, get_args, get_type_hints

import pytest

from brineward.alarms.drill import drill_words
from brineward.alarms.registry import CATALOGUE
from brineward.engine.engine import Engine
from brineward.readings.entries import ServiceTrouble, Tick
from brineward.readings.instants import DAY, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState
from depots import DEPOT, START, plan

TROUBLES = get_args(get_type_hints(ServiceTrouble)["trouble"])


def ticked(engine: Engine, until: Instant) -> list[tuple[Instant, str, AlarmState]]:
    """What becomes of alarms until then."""
    found: list[tuple[Instant, str, AlarmState]] = []
    while (deadline := engine.next_deadline) is not None and deadline <= until:
        changed = (o for o in engine.step(Tick(time=deadline)) if isinstance(o, AlarmChanged))
        found += [(one.time, one.alarm, one.state) for one in changed]
    return found


@pytest.mark.parametrize("trouble", TROUBLES)
def test_each_trouble_raises_its_alarm_after_its_delay(trouble: Any) -> None:
    """Once, when its on-delay is over; after the trouble's end and its off-delay it has cleared, or
    is latched."""
    engine, record = Engine({DEPOT: plan()}), CATALOGUE[trouble]
    states = []
    for present, begun in ((True, START), (False, START + DAY)):
        said_of = drill_words(DEPOT, START + 2 * DAY) if trouble == "drill" else "so it is"
        entry = ServiceTrouble(time=begun, trouble=trouble, present=present, sentence=said_of)
        at_once = [o for o in engine.step(entry) if isinstance(o, AlarmChanged)]
        said = [(o.time, o.alarm, o.state) for o in at_once]
        states += [*said, *ticked(engine, begun + DAY - SECOND)]
    on, off = (round(one * SECOND) for one in (record.on_delay_seconds, record.off_delay_seconds))
    latched = AlarmState.LATCHED_UNACKNOWLEDGED
    assert states == [
        (START + on, trouble, AlarmState.UNACKNOWLEDGED),
        (
            START + DAY + off,
            trouble,
            latched if record.latched else AlarmState.RETURNED_UNACKNOWLEDGED,
        ),
    ]


def drilled(engine: Engine, until: Instant) -> list[tuple[Instant, AlarmState]]:
    """What becomes of a drill at `DEPOT` that ends by itself then."""
    entry = ServiceTrouble(
        time=START, trouble="drill", present=True, sentence=drill_words(DEPOT, until)
    )
    at_once = [o for o in engine.step(entry) if isinstance(o, AlarmChanged)]
    said = [(o.time, o.alarm, o.state) for o in at_once]
    return [(at, state) for at, _, state in [*said, *ticked(engine, START + DAY)]]


def test_a_drill_ends_by_itself_also_through_a_restart() -> None:
    """Whoever began it may be killed: nobody is called on and on."""
    for restarted in (False, True):
        engine = Engine({DEPOT: plan()})
        if restarted:
            first = Engine({DEPOT: plan()})
            entry = ServiceTrouble(
                time=START, trouble="drill", present=True, sentence=drill_words(DEPOT, START + DAY)
            )
            first.step(entry)
            assert engine.restore(first.snapshots()) == []
            states = [(at, state) for at, _, state in ticked(engine, START + 2 * DAY)]
            assert states[-1] == (START + DAY, AlarmState.RETURNED_UNACKNOWLEDGED)
        else:
            assert drilled(engine, START + 60 * SECOND) == [
                (START, AlarmState.UNACKNOWLEDGED),
                (START + 60 * SECOND, AlarmState.RETURNED_UNACKNOWLEDGED),
            ]


def test_a_drill_of_another_depot_is_none_here() -> None:
    """Only the rota that is drilled is woken."""
    engine = Engine({DEPOT: plan()})
    elsewhere = drill_words("kettle-ridge", START + DAY)
    entry = ServiceTrouble(time=START, trouble="drill", present=True, sentence=elsewhere)
    assert [o for o in engine.step(entry) if isinstance(o, AlarmChanged)] == []
    assert ticked(engine, START + DAY) == []
