"""Whatever modes a depot went through: back in service, what is wrong is announced.

By default 40 pasts; more with BRINEWARD_EXAMPLES=400 in the environment.
"""

import os

from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from brineward.engine.engine import Engine
from brineward.readings.entries import Entry, ModeSet, Started, Take, Tick
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmChanged, AlarmState, Output
from brineward.readings.values import Reading
from depots import DEPOT, START, brine, plan

NO_SHRINK = (Phase.explicit, Phase.reuse, Phase.generate)
"""A past is seconds of work: the first one that fails is small enough to read."""
EXAMPLES = int(os.environ.get("BRINEWARD_EXAMPLES", "40"))
ABOUT_MODES = ("mode-doubtful", "liquid-when-laid-up", "water-left-on")
STILL = {"level": 1.5, "temp": 5.0, "valve": 1.0}


def told(outputs: list[Output]) -> dict[tuple[str, str], AlarmState]:
    """The last state of each alarm."""
    return {(o.alarm, o.source): o.state for o in outputs if isinstance(o, AlarmChanged)}


def lingering(engine: Engine) -> set[tuple[str, str]]:
    """The alarms that come and go so often that they are kept though their condition is clear."""
    return {
        (one.configured.record.id, one.condition.source)
        for one in engine._depots[DEPOT]._book.all
        if one.life.chatter.lingers
    }


def shown(now: Instant, *, cold: bool, weak: bool, silent: bool, runs: bool) -> list[Entry]:
    """What every sensor says at an instant."""
    strength = 0.19 if weak else 0.233
    values = STILL | {
        "shelter": 1.0 if cold else 8.0,
        "cond": brine(strength, 5.0),
        "running": float(runs),
    }
    if silent:
        del values["temp"]
    return [Reading(DEPOT, name, now, value, now) for name, value in sorted(values.items())]


PAST = st.lists(
    st.tuples(
        st.sampled_from(list(Mode)),
        st.integers(1, 12),
        st.fixed_dictionaries(dict.fromkeys(("cold", "weak", "silent", "runs"), st.booleans())),
        st.integers(0, 6),
    ),
    min_size=1,
    max_size=6,
)


ALL_WRONG = {"cold": True, "weak": True, "silent": True}
RIGHT = {"cold": False, "weak": False, "silent": False}


@example([(Mode.FILLING_UP, 1, ALL_WRONG | {"runs": True}, 0)], ALL_WRONG)
@example(
    [
        (Mode.IN_SERVICE, 5, RIGHT | {"silent": True}, 0),
        (Mode.IN_SERVICE, 10, RIGHT, 0),
        (Mode.DRAINING, 12, RIGHT | {"silent": True}, 0),
        (Mode.FILLING_UP, 9, RIGHT | {"silent": True}, 0),
        (Mode.DRAINING, 12, RIGHT | {"silent": True}, 0),
    ],
    RIGHT,
)
@settings(max_examples=EXAMPLES, deadline=None, phases=NO_SHRINK)
@given(PAST, st.fixed_dictionaries(dict.fromkeys(("cold", "weak", "silent"), st.booleans())))
def test_no_modes_leave_an_alarm_hidden(
    past: list[tuple[Mode, int, dict[str, bool], int]], wrong: dict[str, bool]
) -> None:
    """After any modes, takes and faults, half an hour in service tells what is wrong, as a depot
    whose mode was never set tells it.

    In the first example a sensor's silence leaves dangers unwatched: its own alarm tells of them,
    and no second one does half an hour later, wherever the readings fall. In the second, modes make
    a silence of two occurrences into three: it comes and goes, so it is kept for an hour.
    """
    engine, plain = Engine({DEPOT: plan()}), Engine({DEPOT: plan()})
    found: list[Output] = []
    never: list[Output] = []
    now = START

    def both(entry: Entry) -> None:
        found.extend(engine.step(entry))
        never.extend(plain.step(entry))

    def for_minutes(minutes: int, state: dict[str, bool]) -> None:
        nonlocal now
        for _ in range(minutes * 3):
            now += 20 * SECOND
            for entry in shown(now, **({"runs": False} | state)):
                both(entry)
            both(Tick(time=now))

    both(Started(time=now, version="1", config_hash="", zone_data=""))
    for mode, minutes, state, number in past:
        found += engine.step(ModeSet(depot=DEPOT, time=now, received=now, mode=mode, by="yard"))
        for_minutes(minutes, state)
        found += engine.step(Take(depot=DEPOT, time=now, received=now, number=number, by="yard"))
    found += engine.step(
        ModeSet(depot=DEPOT, time=now, received=now, mode=Mode.IN_SERVICE, by="yard")
    )
    for_minutes(30, wrong)
    active = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
    # An alarm that was known before its sensor fell silent stays; afresh it can't be judged, and
    # the silence is announced.
    judged = {
        (one.configured.record.id, one.condition.source)
        for one in engine._depots[DEPOT]._book.all
        if one.life.judged is not None
    }
    # What came and went often is kept for a while after it has cleared, and that is no secret.
    judged -= lingering(engine) | lingering(plain)
    wanted = {key for key, state in told(never).items() if state in active} & judged
    assert not wrong["silent"] or ("sensor-silent", "temp") in wanted
    has = {key for key, state in told(found).items() if state in active}
    assert {key for key in has if key[0] not in ABOUT_MODES} & judged == wanted
    assert not [key for key, state in told(found).items() if state is AlarmState.SUPPRESSED]


def test_a_summer_laid_up_hides_nothing_in_autumn() -> None:
    """The same over hours, with an alarm that was taken in spring."""
    engine = Engine({DEPOT: plan()})
    found: list[Output] = []
    now = START
    for at, mode in ((HOUR, Mode.LAID_UP), (5 * HOUR, Mode.IN_SERVICE), (6 * HOUR, None)):
        while now < START + at:
            now += MINUTE // 3
            for entry in shown(now, cold=True, weak=False, silent=False, runs=False):
                found += engine.step(entry)
            found += engine.step(Take(depot=DEPOT, time=now, received=now, number=1, by="yard"))
        if mode is not None:
            found += engine.step(ModeSet(depot=DEPOT, time=now, received=now, mode=mode, by="yard"))
    states = [
        o.state for o in found if isinstance(o, AlarmChanged) and o.alarm == "shelter-freezing"
    ]
    assert states == [
        AlarmState.UNACKNOWLEDGED,
        AlarmState.ACKNOWLEDGED,
        AlarmState.SUPPRESSED,
        AlarmState.NORMAL,
        AlarmState.UNACKNOWLEDGED,
    ]
