"""The worker: nothing is acknowledged before it is kept, and a replay equals what it concluded."""

import logging

import pytest

from brineward.readings.entries import LinkChanged, ServiceTrouble, Take, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND
from brineward.readings.outputs import AlarmState
from brineward.readings.values import Reading
from brineward.service.worker import Pace
from journal.samples import asked
from service.workbench import AGAINST_CLOSED_VALVE, START, Bench, bench
from services import CALM, DEPOT

__all__ = ["bench"]

KEPT = "the broker kept the session; anything its queue could not hold is lost"


def test_what_is_kept_is_acknowledged(bench: Bench) -> None:
    """Every message of a committed batch is acknowledged, in the order of its arrival."""
    bench.up()
    messages = [bench.arrive("main-level", 1.5), bench.arrive("spare-level", 1.2)]
    bench.turn()
    assert bench.link.acknowledged == messages
    assert len(asked(bench.journal).readings.latest(DEPOT)) == 2


def test_a_batch_is_no_larger_than_its_messages_unfold_to(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Messages of many readings each are taken a few at a time; the rest waits for its turn."""
    monkeypatch.setattr("brineward.service.worker.MOST_ENTRIES", 100)
    bench.up()
    bench.turn()
    for number in range(250):
        bench.arrive("spare-level", 1.2, bench.clock.now() - number)
    bench.worker.turn(bench.stop)
    assert len(bench.link.acknowledged) == 100
    bench.worker.turn(bench.stop)
    bench.worker.turn(bench.stop)
    assert len(bench.link.acknowledged) == 250
    bench.assert_replays()


def test_a_repeat_from_a_clock_that_is_ahead_is_no_news(bench: Bench) -> None:
    """It is judged by its arrival, and the repeat's is later: still the engine sees it once."""
    bench.up()
    bench.round()
    ahead = bench.clock.now() + 40 * SECOND
    message = bench.arrive("spare-level", 9.9, ahead)
    bench.turn()
    for _ in range(3):  # three unbelievable ones would raise an alarm
        bench.clock.time += 2 * SECOND
        bench.again(message)
        bench.turn()
    bench.arrive("spare-level", 9.9, ahead + SECOND)
    for _ in range(2):  # and within one batch
        bench.clock.time += 10
        bench.arrive("spare-level", 9.9, ahead + SECOND)
    bench.turn()
    assert len(bench.link.acknowledged) == len(CALM) + 7
    bench.clock.time += 5 * SECOND
    bench.round()
    assert asked(bench.journal).alarms.active() == []
    bench.assert_replays()


def test_a_late_reading_after_a_tick_replays_the_same(bench: Bench) -> None:
    """A tick moves time; what comes later but was measured earlier is judged by that time."""
    bench.up()
    bench.round()
    while not isinstance(bench.steps[-1].entry, Tick):  # silence is looked at by ticks
        bench.turn()
    tick = bench.steps[-1]
    assert tick.outputs == ()
    for early in (500, 400, 300):  # three that can't be believed, and a delay begins
        bench.arrive("spare-level", 9.9, tick.entry.time - early)
    bench.turn()
    bench.clock.time += 5 * SECOND
    bench.round(spare_level=9.9)
    raised = [c.alarm for c in asked(bench.journal).alarms.history(DEPOT)]
    assert "sensor-implausible" in raised
    bench.assert_replays()


def test_blind_time_is_said_and_kept(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    """After the link was away, the log and the journal say for how long, and what it may cost."""
    bench.up()
    bench.turn()
    bench.link.arrivals.append(LinkChanged(time=bench.clock.now(), up=False, why="it broke"))
    bench.turn()
    bench.clock.time += 61 * SECOND
    with caplog.at_level(logging.INFO):
        bench.up()
        bench.turn()
        bench.link.arrivals.append(LinkChanged(time=bench.clock.now(), up=False, why="it broke"))
        bench.clock.time += 10 * MINUTE
        bench.up(gap=True)
        bench.turn()
    kept, missing = [record.message for record in caplog.records if "link back" in record.message]
    assert kept == f"link back after 61 s; {KEPT}"
    assert missing.startswith("link back after 10 min; readings may be missing")
    whys = [
        entry.why for entry in bench.journal.ordering.entries() if isinstance(entry, LinkChanged)
    ]
    assert whys == ["", "it broke", kept, "it broke", missing]


def test_the_time_between_two_runs_is_blind_time_too(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    """A start says since when nobody had watched."""
    bench.clock.time += 5 * MINUTE
    bench.begin(last_alive=START)
    with caplog.at_level(logging.INFO):
        bench.up()
        bench.turn()
    assert f"link back after 5 min; {KEPT}" in caplog.messages


def test_a_first_start_was_never_blind(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    """Where nobody watched before, nothing can be missing."""
    with caplog.at_level(logging.INFO):
        bench.up(gap=True)
        bench.turn()
    assert "link back" not in caplog.text


def test_an_act_waits_until_the_backlog_is_through(bench: Bench) -> None:
    """Somebody takes an alarm while old news still comes: first the news, then the act."""
    bench.up()
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.clock.time += 2 * SECOND
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.turn()
    (active,) = asked(bench.journal).alarms.active()
    now = bench.clock.now()
    bench.up()
    bench.journal.inbox.post(
        Take(depot=DEPOT, time=now, received=now, number=active.change.number, by="yard")
    )
    bench.arrive("spare-level", 1.2, now - 45 * SECOND)
    bench.turn()
    assert asked(bench.journal).alarms.active()[0].change.state is AlarmState.UNACKNOWLEDGED
    for _ in range(20):
        bench.turn()
    assert asked(bench.journal).alarms.active()[0].change.state is AlarmState.ACKNOWLEDGED
    assert bench.journal.inbox.waiting() == []
    bench.assert_replays()


@pytest.mark.parametrize("step", [-HOUR, 400 * DAY])
def test_what_was_posted_before_the_clock_was_set_moves_no_time(bench: Bench, step: int) -> None:
    """It was posted a moment ago, whatever the clock shows now: nothing falls silent by it."""
    bench.up()
    bench.turn()
    now = bench.clock.now()
    trouble = ServiceTrouble(time=now, trouble="disk-low", present=False, sentence="room")
    bench.journal.inbox.post(trouble)
    bench.journal.inbox.post(Take(depot=DEPOT, time=now, received=now, number=1, by="yard"))
    bench.clock.ahead = step
    for _ in range(40):
        bench.turn()
    assert bench.journal.inbox.waiting() == []
    (take,) = [one.entry for one in bench.steps if isinstance(one.entry, Take)]
    assert 0 <= take.received - take.time <= 2 * SECOND
    ended = [change.alarm for change in asked(bench.journal).alarms.history(DEPOT)]
    assert "depot-silent" not in ended
    bench.assert_replays()


def test_what_was_received_before_the_clock_was_set_does_not_bear_it_out(bench: Bench) -> None:
    """The clock is set 155 s ahead while a message waits that was stamped before: its own time
    agrees with that stamp, and says nothing for the new clock. Were that believed, all that comes
    would be too late to be judged; and the pump against its closed valve would not be told."""
    bench.up()
    bench.round()
    for _ in range(20):
        bench.clock.time += SECOND
        bench.round_at(bench.clock.time)
    bench.clock.time += SECOND
    bench.arrive("main-level", 1.5, bench.clock.time - 100)
    bench.clock.ahead = 155 * SECOND
    bench.turn()
    for _ in range(20):
        bench.clock.time += SECOND
        bench.round_at(bench.clock.time, **AGAINST_CLOSED_VALVE)
    assert "closed-valve" in [one.change.alarm for one in asked(bench.journal).alarms.active()]
    bench.assert_replays()


def test_time_waits_for_what_came_during_a_short_break(bench: Bench) -> None:
    """What the broker kept comes piecemeal: that the valve was opened in time is still to come."""
    bench.up()
    now = bench.clock.now()
    bench.arrive("pump-running", 1, now - 4 * SECOND)
    bench.arrive("hose-valve-open", 0, now - 4 * SECOND)
    bench.turn()
    bench.arrive("hose-valve-open", 1, now - 4 * SECOND + 500)
    bench.turn()
    bench.round(pump_running=1, hose_valve_open=1)
    for _ in range(20):
        bench.turn()
    assert asked(bench.journal).alarms.active() == []
    bench.assert_replays()


def test_sensors_that_always_come_late_stop_time_only_after_a_connect(bench: Bench) -> None:
    """A line with five seconds' lag: time goes on by the clock once no backlog can be under way."""
    bench.up()
    for _ in range(90):
        bench.clock.time += SECOND
        for sensor, value in AGAINST_CLOSED_VALVE.items():
            bench.arrive(sensor.replace("_", "-"), value, bench.clock.now() - 5 * SECOND)
        bench.turn()
    ticks = [step.entry.time for step in bench.steps if isinstance(step.entry, Tick)]
    assert ticks
    assert min(ticks) > START + 9 * SECOND


def test_a_depot_whose_readings_always_come_late_is_watched(bench: Bench) -> None:
    """45 seconds late and never a pause: they are no backlog, since they don't catch up. From a
    minute after the connect on a person's take is handled; what comes is judged as before."""
    bench.up()
    bench.journal.inbox.post(Take(depot=DEPOT, time=START, received=START, number=1, by="yard"))
    for second in range(150):
        bench.clock.time += SECOND
        bench.arrive("spare-level", 1.2 + second % 2 / 100, bench.clock.now() - 45 * SECOND)
        bench.turn()
        taken = [step for step in bench.steps if isinstance(step.entry, Take)]
        assert len(taken) == (second >= 61), second
    last = bench.clock.now() - 45 * SECOND
    assert asked(bench.journal).readings.latest(DEPOT)["spare-level"].time == last
    bench.assert_replays()


def test_a_backlog_that_is_worked_off_slowly_is_waited_for(bench: Bench) -> None:
    """Twice as fast as it was sent, for two minutes: time does not run ahead of it."""
    bench.up()
    began = bench.clock.now()
    for second in range(120):
        bench.clock.time += SECOND
        bench.arrive("spare-level", 1.2, began - 180 * SECOND + 2 * second * SECOND)
        bench.turn()
    assert not [step for step in bench.steps if isinstance(step.entry, Tick)]


def test_noise_after_a_connect_does_not_stop_time(bench: Bench) -> None:
    """Nothing comes but what can't be read, once a second and for ever: silence is announced."""
    bench.round()
    bench.up()
    for _ in range(120):
        bench.clock.time += SECOND
        bench.arrive_bytes("spare-level", b"?")
        bench.turn()
    assert "depot-silent" in [one.alarm for one in asked(bench.journal).alarms.history(DEPOT)]
    bench.assert_replays()


def test_a_flood_that_never_lets_the_inbox_run_dry_does_not_stop_time(bench: Bench) -> None:
    """Something always waits, and among it are readings of now: a person's take is handled."""
    bench.up()
    bench.worker.turn(bench.stop)
    bench.journal.inbox.post(Take(depot=DEPOT, time=START, received=START, number=1, by="yard"))
    for _ in range(60):
        bench.clock.time += SECOND
        bench.arrive("spare-level", 1.2)
        bench.link.held_back = 3
        bench.worker.turn(bench.stop)
    assert [step for step in bench.steps if isinstance(step.entry, Take)]


def test_a_take_is_of_now_however_far_time_is_held_back(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a pace that holds time ten minutes back: handled with no old news about it, and what
    follows from it counts as of now."""
    monkeypatch.setattr(bench.worker, "_pace", Pace(tick_behind=10 * MINUTE))
    bench.up()
    bench.turn()
    bench.clock.time += HOUR
    now = bench.clock.now()
    bench.journal.inbox.post(Take(depot=DEPOT, time=now, received=now, number=1, by="yard"))
    for _ in range(5):
        bench.turn()
    (take,) = [step.entry for step in bench.steps if isinstance(step.entry, Take)]
    assert take.time < now - 9 * MINUTE
    assert take.received <= take.time


@pytest.mark.parametrize("late", [3, 90, 300])
def test_a_flood_of_old_news_holds_up_a_take_for_a_minute_at_most(bench: Bench, late: int) -> None:
    """Something always waits, and nothing of it is of now. After a minute a person's take is
    handled all the same; no time runs ahead of the news, so that nothing seems silent."""

    def news(**changed: float) -> None:
        bench.clock.time += SECOND
        values = CALM | {name.replace("_", "-"): value for name, value in changed.items()}
        for sensor, value in values.items():
            bench.arrive(sensor, value, bench.clock.now() - late * SECOND)
        bench.link.held_back = 3
        bench.worker.turn(bench.stop)

    bench.up()
    for _ in range(5):
        news(**AGAINST_CLOSED_VALVE)
    (active,) = asked(bench.journal).alarms.active()
    now = bench.clock.now()
    bench.journal.inbox.post(
        Take(depot=DEPOT, time=now, received=now, number=active.change.number, by="yard")
    )
    for second in range(5, 75):
        news(**AGAINST_CLOSED_VALVE)
        (active,) = asked(bench.journal).alarms.active()
        taken = active.change.state is AlarmState.ACKNOWLEDGED
        assert taken == (second > 60), second
    (take,) = [step.entry for step in bench.steps if isinstance(step.entry, Take)]
    assert take.time <= now
    assert bench.journal.inbox.waiting() == []
    news(**AGAINST_CLOSED_VALVE)
    bench.arrive_bytes("spare-level", b"?")
    for _ in range(200):
        news(**AGAINST_CLOSED_VALVE)
    assert not [step for step in bench.steps if isinstance(step.entry, Tick)]
    raised = {change.alarm for change in asked(bench.journal).alarms.history(DEPOT)}
    assert not {one for one in raised if "silent" in one}
    bench.assert_replays()


def test_a_batch_is_taken_in_the_order_of_its_times(bench: Bench) -> None:
    """Brokers keep order within a topic only; the worker sets a batch right."""
    bench.up()
    now = bench.clock.now()
    bench.arrive("main-level", 1.5, now - 10)
    bench.arrive("spare-level", 1.2, now - 30)
    bench.arrive("shelter-temperature", 12.0, now - 20)
    bench.turn()
    times = [step.entry.time for step in bench.steps if isinstance(step.entry, Reading)]
    assert times == [now - 30, now - 20, now - 10]


def test_a_restart_goes_on_where_the_journal_stands(bench: Bench) -> None:
    """A delay under way, the numbers and who was told outlive the restart."""
    bench.up()
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.begin()
    bench.up()
    bench.clock.time += 2 * SECOND
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.round(**AGAINST_CLOSED_VALVE)
    (active,) = asked(bench.journal).alarms.active()
    assert active.change.time == START + SECOND
    assert active.change.number == 1
    bench.assert_replays()
