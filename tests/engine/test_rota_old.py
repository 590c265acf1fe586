"""A rota's calendar that is not read any more: the rota may be wrong, and people hear of it."""

from dataclasses import replace

from brineward.engine.engine import Engine
from brineward.plant.plan import DepotPlan
from brineward.plant.rota import Rota
from brineward.readings.entries import RotaRead, Started, Tick
from brineward.readings.instants import DAY, HOUR, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, TextDue
from brineward.wording.segment import segment
from depots import DEPOT, START, plan


def by_calendar(*, calendar: bool = True) -> DepotPlan:
    """A depot whose calendar says who is on call."""
    its = plan()
    return replace(its, duty=replace(its.duty, rota=Rota(people=("yard",), calendar=calendar)))


def begun(its: DepotPlan) -> Engine:
    """Its engine, just started."""
    engine = Engine({DEPOT: its})
    engine.step(Started(time=START, version="1", config_hash="", zone_data=""))
    return engine


def read(engine: Engine, at: Instant) -> list[Output]:
    """The calendar is read, and says nothing."""
    return list(engine.step(RotaRead(depot=DEPOT, time=at, received=at, shifts=())))


def ticked(engine: Engine, until: Instant) -> list[Output]:
    """What comes of time alone."""
    found: list[Output] = []
    while (deadline := engine.next_deadline) is not None and deadline <= until:
        found += engine.step(Tick(time=deadline))
    return found


def states(outputs: list[Output]) -> list[tuple[Instant, AlarmState]]:
    """What became of the alarm."""
    changes = [one for one in outputs if isinstance(one, AlarmChanged) and one.alarm == "rota-old"]
    return [(one.time, one.state) for one in changes]


def test_two_days_unread_are_told_and_a_reading_clears_it() -> None:
    """Each reading counts again; the text goes out in the morning, to who is on call as far as is
    known."""
    engine = begun(by_calendar())
    last = START + 12 * HOUR
    found = [*read(engine, START + HOUR), *ticked(engine, last), *read(engine, last)]
    assert states(found) == []
    found = ticked(engine, last + 3 * DAY)
    assert states(found) == [(last + 2 * DAY, AlarmState.UNACKNOWLEDGED)]
    texts = [one for one in found if isinstance(one, TextDue) and "rota" in segment(one.notice)]
    assert texts[0].person == "yard"
    assert texts[0].time >= last + 2 * DAY
    assert "could not be read for 48 h" in segment(texts[0].notice)
    cleared = states(read(engine, last + 3 * DAY))
    assert [state for _, state in cleared] == [AlarmState.RETURNED_UNACKNOWLEDGED]


def test_a_calendar_that_is_never_read_is_told_as_well() -> None:
    """Counted from the first start, through restarts; without a calendar there is no such alarm."""
    engine = begun(by_calendar())
    later = START + 30 * HOUR
    ticked(engine, later)
    again = Engine({DEPOT: by_calendar()})
    assert again.restore(engine.snapshots()) == []
    again.step(Started(time=later, version="1", config_hash="", zone_data=""))
    assert states(ticked(again, START + 3 * DAY)) == [(START + 2 * DAY, AlarmState.UNACKNOWLEDGED)]
    assert states(ticked(begun(by_calendar(calendar=False)), START + 3 * DAY)) == []
