"""What may wait is told when people are awake, or when a day's work has not settled it."""

from dataclasses import replace

import pytest

from brineward.alarms.condition import CLEAR, Finding, Verdict
from brineward.config.channel_kinds import SirenChannel
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Priority, TextDue
from brineward.texts.senders import OutgoingText
from brineward.texts.siren import SirenSender
from depots import START as EVENING
from depots import plan
from playing import ACTIVE, DEPOT_SILENCE, SILENCE, Bench

START = EVENING + 18 * HOUR
"""Noon by the clock of these tests' depot, which lives by UTC."""

LATER = Verdict(True, Finding(value=1.0, text_after_seconds=600.0))
"""It is active, and whoever is there has ten minutes to mend it."""


def found(until: Instant | None, **more: object) -> Verdict:
    """It is active, and may wait until then."""
    return Verdict(True, replace(Finding(value=1.0), waits_until=until, **more))


def bench_of(
    priority: Priority = Priority.LOW,
    at: Instant = START,
    text_after: float | None = None,
    its: DepotPlan | None = None,
) -> Bench:
    """An alarm of this priority, at this time of the day."""
    bench = Bench(its)
    bench.now = at
    booked = bench.alarm(SILENCE)
    record = replace(booked.configured.record, suppressed_by=())
    settings = AlarmSettings(text_after_seconds=text_after)
    booked.configured = replace(
        booked.configured, record=record, priority=priority, settings=settings
    )
    booked.life._own_priority = booked.life.priority = priority
    return bench


def hours(texts: list[TextDue]) -> list[float]:
    """When each went out, in hours after noon."""
    return [round((one.time - START) / HOUR, 2) for one in texts]


def test_what_can_wait_is_told_when_the_days_work_is_over() -> None:
    """Found at noon, good until tomorrow: announced at four, once; what can't wait: at once."""
    bench = bench_of()
    texts = bench.told(bench.says(SILENCE, found(START + DAY)), 20 * HOUR)
    assert hours(texts) == [4.0]
    bench = bench_of()
    (at,) = hours(bench.told(bench.says(SILENCE, found(None)), 3 * HOUR))
    assert at < 0.1


def test_what_is_settled_by_then_is_never_told() -> None:
    """Filled at two in the afternoon: nobody is texted, not that it has cleared either."""
    bench = bench_of()
    texts = bench.told(bench.says(SILENCE, found(START + DAY)), 2 * HOUR)
    texts += bench.told(bench.says(SILENCE, CLEAR), 20 * HOUR)
    assert texts == []


def test_what_cannot_wait_so_long_is_told_at_once() -> None:
    """Good for three hours only, and four is when the day's work is over."""
    bench = bench_of()
    (at,) = hours(bench.told(bench.says(SILENCE, found(START + 3 * HOUR)), 3 * HOUR))
    assert at < 0.1


def test_what_waits_and_turns_worse_is_told_within_half_an_hour() -> None:
    """It waited for four o'clock; at one nothing is left to wait for."""
    bench = bench_of()
    texts = bench.told(bench.says(SILENCE, found(START + DAY)), HOUR)
    texts += bench.told(bench.says(SILENCE, found(bench.now)), 2 * HOUR)
    (at,) = hours(texts)
    assert 1.0 <= at <= 1.6


@pytest.mark.parametrize(
    ("priority", "told"), [(Priority.MEDIUM, 19.0), (Priority.HIGH, 12.0), (Priority.LOW, 22.0)]
)
def test_at_night_what_can_wait_wakes_nobody_but_for_what_is_high(
    priority: Priority, told: float
) -> None:
    """Found at midnight: medium at seven, low at ten, high at once, whatever may wait."""
    bench = bench_of(priority, START + 12 * HOUR)
    (at, *_) = hours(bench.told(bench.says(SILENCE, found(START + 2 * DAY)), 11 * HOUR))
    assert at == pytest.approx(told, abs=0.1)


def test_a_text_after_a_while_is_not_sent_for_what_is_over_by_then() -> None:
    """The config asks for a minute: a slip of half a minute texts nobody, one that lasts does."""
    bench = bench_of(Priority.HIGH, text_after=60.0 + 3600.0)
    texts = bench.told(bench.says(SILENCE, ACTIVE), HOUR)
    texts += bench.told(bench.says(SILENCE, CLEAR), HOUR)
    assert texts == []
    bench = bench_of(Priority.HIGH, text_after=600.0)
    texts = bench.told(bench.says(SILENCE, ACTIVE), 599 * SECOND)
    texts += bench.told(bench.says(SILENCE, CLEAR), HOUR)
    assert texts == [], "over a second before its text, and on its way to clear"
    bench = bench_of(Priority.HIGH, text_after=600.0)
    texts = bench.told(bench.says(SILENCE, ACTIVE), 9 * MINUTE)
    assert texts == []
    assert len(bench.told([], 2 * MINUTE)) == 1


def test_what_who_stands_there_mends_within_its_minute_is_not_texted() -> None:
    """By its finding: shown at once, texted after a minute; nobody is told that it has cleared."""
    bench = bench_of(Priority.HIGH)
    texts = bench.told(bench.says(SILENCE, LATER), 9 * MINUTE)
    assert bench.alarm(SILENCE).life.number, "raised, and shown"
    assert bench.told(bench.says(SILENCE, CLEAR), HOUR) == texts == []
    bench = bench_of(Priority.HIGH)
    began = bench.now
    (text,) = bench.told(bench.says(SILENCE, LATER), 11 * MINUTE)
    assert text.time - began == 10 * MINUTE
    assert [one.kind for one in bench.told(bench.says(SILENCE, CLEAR), HOUR)] == ["cleared"]


@pytest.mark.parametrize(("minutes", "at_once"), [(20, True), (90, False)])
def test_what_comes_a_second_time_within_the_hour_is_texted_at_once(
    minutes: int, at_once: bool
) -> None:
    """It may be hot still; hours later it is as the first time."""
    bench = bench_of(Priority.HIGH)
    bench.told(bench.says(SILENCE, LATER), 5 * MINUTE)
    bench.told(bench.says(SILENCE, CLEAR), minutes * MINUTE)
    assert bool(bench.told(bench.says(SILENCE, LATER), 5 * MINUTE)) is at_once


def test_the_config_decides_how_long_it_must_last_where_it_says_so() -> None:
    """`text_after = "0 s"`: at once, whatever the finding would allow; a longer one holds too."""
    for configured, comes in ((0.0, True), (3600.0, False)):
        bench = bench_of(Priority.HIGH, text_after=configured)
        texts = bench.told(bench.says(SILENCE, LATER), (5 if comes else 30) * MINUTE)
        assert bool(texts) is comes


def test_a_take_comes_back_only_where_harm_is_no_later_than_was_known() -> None:
    """Gone in seven hours, taken; then in fourteen, since nobody loads: that is no news. Sooner
    than was known is."""
    for later, comes in ((14 * HOUR, False), (-HOUR, True)):
        bench = bench_of(Priority.MEDIUM)
        harm = START + 7 * HOUR
        bench.told(bench.says(SILENCE, found(None, harm_at=harm)), MINUTE)
        number = bench.alarm(SILENCE).life.number
        bench.told(bench.book.take(number, "yard", bench.now))
        texts = bench.told(bench.says(SILENCE, found(None, harm_at=harm + later)), 2 * DAY)
        assert bool(texts) is comes


def test_what_clears_unsaid_by_its_finding_says_nothing() -> None:
    """Rain that was pumped out; without that word it is said."""
    said = []
    for unsaid in (False, True):
        bench = bench_of(Priority.MEDIUM)
        bench.told(bench.says(SILENCE, found(None, clears_unsaid=unsaid)), MINUTE)
        said.append([one.kind for one in bench.told(bench.says(SILENCE, CLEAR), HOUR)])
    assert said == [["cleared"], []]


@pytest.mark.parametrize("why", ["record", "finding", "low priority"])
def test_a_siren_is_told_that_an_alarm_has_cleared_also_where_people_know_it(why: str) -> None:
    """It stops howling; nobody else is texted of it."""
    own = plan()
    duty = replace(
        own.duty, on_call=("siren", "yard"), names={"yard": "Yard"}, unlimited=frozenset({"siren"})
    )
    bench = bench_of(
        Priority.LOW if why == "low priority" else Priority.MEDIUM, its=replace(own, duty=duty)
    )
    booked = bench.alarm(SILENCE)
    record = replace(booked.configured.record, clears_unsaid=why == "record")
    booked.configured = replace(booked.configured, record=record)
    raised = bench.says(SILENCE, found(None, clears_unsaid=why == "finding"))
    told = bench.told(raised, HOUR)
    others = set() if why == "low priority" else {"yard"}  # a low one calls nobody else
    assert {one.person for one in told} == {"siren"} | others
    cleared = bench.told(bench.says(SILENCE, CLEAR), HOUR)
    assert [(one.person, one.kind) for one in cleared] == [("siren", "cleared")]

    states = states_of_siren([*told, *cleared])
    assert states[0] == b"on"
    assert states[-1] == b"off"


def test_a_siren_does_not_howl_for_what_its_cause_holds_back() -> None:
    """Nobody can take that, so it would howl until it clears, though somebody has the cause."""
    own = plan()
    duty = replace(own.duty, on_call=("siren", "yard"), unlimited=frozenset({"siren"}))
    bench = Bench(replace(own, duty=duty))
    texts = bench.told(bench.says(SILENCE, ACTIVE), 30 * MINUTE)
    texts += bench.told(bench.says(DEPOT_SILENCE, ACTIVE), 5 * MINUTE)
    assert states_of_siren(texts)[-1] == b"on"
    texts += bench.told(bench.book.take(2, "yard", bench.now), HOUR)
    assert states_of_siren(texts)[-1] == b"off"
    assert "yard" not in {one.person for one in texts if one.kind == "held back"}


def states_of_siren(texts: list[TextDue]) -> list[bytes]:
    """What a siren is switched to by its own among these texts."""
    states: list[bytes] = []
    channel = SirenChannel(id="siren", topic="yard/siren", on="on", off="off")
    siren = SirenSender(channel, _Topic(states))
    for text in texts:
        if text.person == "siren":
            siren.send(
                OutgoingText(
                    key=text.id,
                    depot=text.depot,
                    number=text.number,
                    kind=text.kind,
                    priority=text.priority,
                    name="Siren",
                    address="",
                    notice=text.notice,
                    attempt=1,
                )
            )
    return states


class _Topic:
    """A retained topic: notes what it is set to."""

    def __init__(self, states: list[bytes]) -> None:
        self._states = states

    def set(self, payload: bytes, timeout_seconds: float) -> str:
        """Done."""
        self._states.append(payload)
        return ""

    def stop(self) -> None:
        """Nothing to part from."""


def test_a_restart_keeps_what_was_known_when_it_was_taken() -> None:
    """The life's snapshot has it; an older snapshot has none and comes back."""
    bench = bench_of(Priority.MEDIUM)
    bench.told(bench.says(SILENCE, found(None, harm_at=START + HOUR)), MINUTE)
    life = bench.alarm(SILENCE).life
    bench.book.take(life.number, "yard", bench.now)
    kept = life.snapshot()
    life.restore(kept, Finding)
    assert life.harm_was_at == START + HOUR
    life.restore(kept | {"taken": kept["taken"][:2]}, Finding)
    assert life.harm_was_at is None


def test_what_waited_and_rose_is_new_to_who_reads_of_it() -> None:
    """Nobody had been told: the text is a first one, and does not say that it got worse."""
    bench = bench_of()
    assert bench.told(bench.says(SILENCE, found(START + DAY)), HOUR) == []
    worse = found(bench.now, priority=Priority.MEDIUM)
    (text,) = bench.told(bench.says(SILENCE, worse), MINUTE)
    assert (text.kind, text.priority) == ("raised", Priority.MEDIUM)
