"""The small stages of telling, each by itself: policy, rota, pacing, what was told."""

from zoneinfo import ZoneInfo

import pytest

from brineward.alarms.registry import site_of
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.book.life_table import Event
from brineward.plant.plan import Duty
from brineward.readings.instants import HOUR, MINUTE, Instant, instant_from_rfc3339
from brineward.readings.outputs import AlarmState, Priority
from brineward.telling.calls import Call
from brineward.telling.pacing import next_round_at, not_before
from brineward.telling.policy import Wish, wish_of
from brineward.telling.rota import round_of
from depots import plan

CHICAGO = ZoneInfo("America/Chicago")
THREE = Duty(on_call=("yard", "dispatch", "chief"))
WATCHED: BookedAlarm = AlarmBook(site_of(plan())).all[0]
UNACK = AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("event", "announced", "fresh", "wish"),
    [
        (Event.RAISED, True, True, Wish.CALL),
        (Event.RAISED, True, False, Wish.CALL),
        (Event.GRAVER, True, False, Wish.CALL),
        (Event.UNSHELVED, True, False, Wish.CALL),
        (Event.RETURNED, True, False, Wish.CALL),
        (Event.RELEASED, True, False, Wish.CALL_ON),
        (Event.RELEASED, True, True, Wish.CALL),
        (Event.OVERDUE, True, False, Wish.CALL_WHO_HAD_IT),
        (Event.HANDED_BACK, True, False, Wish.CALL_NEXT),
        (Event.CLEARED, False, False, Wish.CLEARED),
        (Event.LATCHED, False, False, Wish.NOTHING),
        (Event.RAISED, False, False, Wish.NOTHING),
        (Event.GRAVER, False, False, Wish.NOTHING),
        (Event.SUPPRESSED, False, False, Wish.NOTHING),
        (Event.RELEASED, False, False, Wish.NOTHING),
        (Event.UNSHELVED, False, False, Wish.NOTHING),
        (Event.RETURNED, False, False, Wish.NOTHING),
        (Event.HANDED_BACK, False, False, Wish.NOTHING),
        (Event.OVERDUE, False, False, Wish.NOTHING),
        (Event.TAKEN, False, False, Wish.TAKEN),
        (Event.SHELVED, False, False, Wish.HELD_BACK),
        (Event.REMOVED, False, False, Wish.HELD_BACK),
        (Event.RESET, False, False, Wish.DONE),
    ],
)
def test_policy(event: Event, announced: bool, fresh: bool, wish: Wish) -> None:
    """What is held back wakes nobody, and that it cleared or is taken is never hidden."""
    active = event is not Event.CLEARED
    state = UNACK if announced else AlarmState.SUPPRESSED
    change = Change(
        WATCHED, event, 1, state, active, None, announced=announced, fresh=fresh, by="yard"
    )
    assert wish_of(change) is wish


@pytest.mark.parametrize(
    ("place", "out", "people", "found"),
    [
        (0, set(), ("yard",), 0),
        (1, set(), ("dispatch",), 1),
        (2, set(), ("chief",), 2),
        (3, set(), ("yard", "dispatch", "chief"), 3),
        (9, set(), ("yard", "dispatch", "chief"), 9),
        (0, {"yard"}, ("dispatch",), 1),
        (1, {"yard"}, ("dispatch",), 1),
        (1, {"dispatch"}, ("chief",), 2),
        (2, {"chief"}, ("yard", "dispatch"), 3),
        (0, {"yard", "dispatch", "chief"}, (), 3),
    ],
)
def test_rota(place: int, out: set[str], people: tuple[str, ...], found: int) -> None:
    """Each in turn, then everybody; who can't be reached is passed over, and nobody else is."""
    its = round_of(THREE.on_call, Priority.HIGH, place, out_of_reach=out)
    assert (its.people, its.place) == (people, found)


@pytest.mark.parametrize("place", [0, 1, 5])
def test_a_low_alarm_stays_with_the_first_who_can_be_reached(place: int) -> None:
    """It is for whoever is on call first, every day."""
    assert round_of(THREE.on_call, Priority.LOW, place).people == ("yard",)
    assert round_of(THREE.on_call, Priority.LOW, place, out_of_reach={"yard"}).people == (
        "dispatch",
    )
    assert round_of((), Priority.LOW, place).people == ()


@pytest.mark.parametrize(
    ("priority", "step", "minutes"),
    [
        (Priority.HIGH, 0, 10),
        (Priority.HIGH, 1, 10),
        (Priority.HIGH, 2, 20),
        (Priority.HIGH, 3, 40),
        (Priority.HIGH, 4, 60),
        (Priority.HIGH, 400, 60),
        (Priority.MEDIUM, 4, 80),
        (Priority.MEDIUM, 6, 240),
        (Priority.MEDIUM, 400, 240),
        (Priority.LOW, 0, 24 * 60),
        (Priority.LOW, 7, 24 * 60),
    ],
)
def test_pauses(priority: Priority, step: int, minutes: int) -> None:
    """Ten minutes from one person to the next; then doubled, to an hour or four; low, a day."""
    due = next_round_at(priority, 1_000, step=step, people=2, pause_seconds=600.0)
    assert due - 1_000 == minutes * MINUTE


def test_a_pause_longer_than_the_longest_is_kept() -> None:
    """Where the config asks for two hours between people, everybody's rounds are no sooner."""
    for step in (0, 2, 5):
        due = next_round_at(Priority.HIGH, 0, step=step, people=2, pause_seconds=7200.0)
        assert due == 2 * HOUR


@pytest.mark.parametrize(
    ("at", "told"),
    [
        ("2026-01-15T06:59:59-06:00", "2026-01-15T07:00:00-06:00"),
        ("2026-01-15T07:00:00-06:00", "2026-01-15T07:00:00-06:00"),
        ("2026-01-15T20:59:59-06:00", "2026-01-15T20:59:59-06:00"),
        ("2026-01-15T21:00:00-06:00", "2026-01-16T07:00:00-06:00"),
        ("2026-03-07T23:00:00-06:00", "2026-03-08T07:00:00-05:00"),
        ("2026-10-31T23:00:00-05:00", "2026-11-01T07:00:00-06:00"),
    ],
)
def test_mornings(at: str, told: str) -> None:
    """Low priorities wait for seven on the wall clock, through a night of 23 or 25 hours too."""
    now: Instant = instant_from_rfc3339(at)
    assert not_before(Priority.LOW, CHICAGO, now) == instant_from_rfc3339(told)
    for priority in (Priority.HIGH, Priority.MEDIUM):
        assert not_before(priority, CHICAGO, now) == now


def test_a_call_begins_anew_and_is_kept_as_it_is() -> None:
    """A new occurrence knows of nobody who was told of the last; a snapshot keeps all of it."""
    call = Call(told=["yard"], step=3, sent=4, due=5, held=True, again="got worse")
    other = Call()
    other.restore(call.snapshot())
    assert other == call
    call.begin()
    assert call == Call()


def test_a_round_is_put_off_and_never_brought_forward() -> None:
    """After a stop no round is due before the start; one that is due later stays."""
    call = Call(due=100)
    for time, due in ((50, 100), (150, 150)):
        call.no_sooner(time)
        assert call.due == due
    call.stop()
    call.no_sooner(200)
    assert call.due is None


@pytest.mark.parametrize(
    ("since", "told"),
    [
        ("2026-01-14T06:00:00-06:00", "2026-01-14T10:00:00-06:00"),
        ("2026-01-14T10:00:00-06:00", "2026-01-15T10:00:00-06:00"),
        ("2026-01-14T22:00:00-06:00", "2026-01-15T10:00:00-06:00"),
    ],
)
def test_routine_work_is_told_after_a_morning(since: str, told: str) -> None:
    """At ten, once a whole morning has passed since it began; what is graver does not wait."""
    began = instant_from_rfc3339(since)
    for later in (0, 60_000):
        at = not_before(Priority.LOW, CHICAGO, began + later, routine_since=began)
        assert at == instant_from_rfc3339(told)
        at = not_before(Priority.MEDIUM, CHICAGO, began + later, routine_since=began)
        assert at == began + later
