"""A full disk holds up records and nothing else: the worker holds them, and watches on."""

import pytest

from brineward.readings.entries import ServiceTrouble, Take
from brineward.readings.instants import SECOND
from brineward.readings.outputs import Priority
from journal.samples import asked
from service.workbench import AGAINST_CLOSED_VALVE, Bench, bench
from services import CALM, DEPOT

__all__ = ["bench"]


def test_nothing_is_acknowledged_while_the_disk_is_full(bench: Bench) -> None:
    """The batch is tried again until there is room; only then is it acknowledged, and once."""
    bench.up()
    bench.turn()
    bench.fill_disk()
    message = bench.arrive("main-level", 1.5)
    for _ in range(300):  # rows fill the room that pages in use still have
        bench.arrive("spare-level", 1.2, bench.clock.now() - len(bench.link.arrivals))
    for _ in range(20):
        bench.turn()
        assert bench.link.acknowledged == []
    bench.make_room()
    for _ in range(8):
        bench.turn()
    assert bench.link.acknowledged[0] == message
    assert len(bench.link.acknowledged) == 301
    bench.assert_replays()


def test_while_the_disk_is_full_the_watch_goes_on(bench: Bench) -> None:
    """A pump against a closed valve is raised and texted though nothing of it can be recorded;
    the disk is told of as well, and once there is room all of it is kept."""
    bench.up()
    bench.round()
    bench.fill_disk()
    for number in range(300):
        bench.arrive("spare-level", 1.2, bench.clock.now() - number)
    bench.turn()
    acknowledged = len(bench.link.acknowledged)
    for _ in range(10):
        bench.clock.time += SECOND
        bench.round(**AGAINST_CLOSED_VALVE)
    assert len(bench.link.acknowledged) == acknowledged
    assert asked(bench.journal).alarms.active() == []
    (due,) = bench.texts.unkept
    assert (due.person, due.kind, due.priority) == ("yard", "raised", Priority.HIGH)

    bench.make_room()
    for _ in range(8):
        bench.turn()
    assert len(bench.link.acknowledged) == acknowledged + 300 + 10 * len(CALM)
    assert [a.change.alarm for a in asked(bench.journal).alarms.active()] == ["closed-valve"]
    assert [text.id for text in asked(bench.journal).texts.newest()] == [due.id]
    troubles = [e for e in bench.journal.ordering.entries() if isinstance(e, ServiceTrouble)]
    assert [(one.trouble, one.present) for one in troubles] == [
        ("disk-low", True),
        ("disk-low", False),
    ]
    bench.assert_replays()


def test_held_acts_are_taken_once(bench: Bench) -> None:
    """What waits in the inbox is dealt with once, though its end can't be recorded yet."""
    bench.up()
    bench.round()
    for _ in range(20):
        bench.turn()
    now = bench.clock.now()
    bench.journal.inbox.post(Take(depot=DEPOT, time=now, received=now, number=1, by="yard"))
    bench.fill_disk()
    for number in range(300):
        bench.arrive("spare-level", 1.2, now - number)
    for _ in range(20):
        bench.turn()
    assert len(bench.journal.inbox.waiting()) == 1
    bench.make_room()
    for _ in range(8):
        bench.turn()
    assert bench.journal.inbox.waiting() == []
    assert sum(isinstance(e, Take) for e in bench.journal.ordering.entries()) == 1
    bench.assert_replays()


def test_so_much_is_held_and_no_more(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Memory is bounded: beyond it the worker waits for the disk, and obeys when told to stop."""
    monkeypatch.setattr("brineward.service.keeper.MOST_HELD", 400)
    bench.up()
    bench.turn()
    bench.fill_disk()
    for number in range(1_200):
        bench.arrive("spare-level", 1.2, bench.clock.now() - number)
    for _ in range(20):
        bench.worker.turn(bench.stop)
    assert bench.link.waiting == 700
    waits = bench.clock.waits
    assert waits > 5
    bench.make_room()
    for _ in range(8):
        bench.worker.turn(bench.stop)
    assert len(bench.link.acknowledged) == 1_200
    bench.assert_replays()


def test_stopped_before_the_disk_took_it_the_state_is_not_kept_either(bench: Bench) -> None:
    """A state that had raised an alarm which was never kept would never raise it again."""
    bench.up()
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.fill_disk()
    bench.clock.on_wait = bench.stop.set
    bench.clock.time += 2 * SECOND
    lost = [bench.arrive("pump-running", 1)]
    lost += [bench.arrive("spare-level", 1.2, bench.clock.now() - n) for n in range(300)]
    acknowledged = len(bench.link.acknowledged)
    bench.worker.turn(bench.stop)
    assert len(bench.link.acknowledged) == acknowledged
    assert asked(bench.journal).alarms.active() == []
    bench.make_room()
    bench.keeper.keep_state()

    bench.stop.clear()
    bench.clock.on_wait = lambda: None
    bench.begin()
    bench.up()
    for message in lost:
        bench.again(message)
    bench.turn()
    assert [a.change.alarm for a in asked(bench.journal).alarms.active()] == ["closed-valve"]
    assert len(asked(bench.journal).texts.newest()) == 1
    bench.assert_replays()


def test_with_a_full_disk_at_the_start_it_watches_all_the_same(bench: Bench) -> None:
    """That the service started can't be noted; what is wrong at the depot is found and told."""
    bench.fill_disk()
    for _ in range(400):  # until the last page is full
        bench.clock.time += 1
        bench.begin()
        if bench.keeper.holding:
            break
    assert bench.keeper.holding
    bench.up()
    for _ in range(10):
        bench.clock.time += SECOND
        bench.round(**AGAINST_CLOSED_VALVE)
    assert [text.kind for text in bench.texts.unkept] == ["raised"]
