"""The caps on texts: nobody gets more, nothing is dropped, and what is grave never waits."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.alarms.condition import CLEAR, Finding, Verdict
from brineward.alarms.registry import site_of
from brineward.book.book import AlarmBook
from brineward.plant.idle_hours import IdleHours
from brineward.readings.entries import Answer
from brineward.readings.instants import HOUR, MINUTE, SECOND
from brineward.readings.outputs import Priority, TextDue
from brineward.telling.telling import Telling
from brineward.wording.gsm import SEGMENT_SEPTETS, septets
from brineward.wording.segment import segment
from depots import DEPOT, START, plan
from playing import ACTIVE, Bench, Played

MOST = 3
GRAVE = Verdict(True, replace(Finding(value=61.0), priority=Priority.HIGH))


class Crowd(Bench):
    """A depot each of whose alarms is played, none a consequence of another."""

    def __init__(self, most: int = MOST, **duty: object) -> None:
        super().__init__()
        self.sent: list[TextDue] = []
        self.taken: set[tuple[str, int]] = set()
        """Who took which occurrence."""
        asked = plan()
        caps = {"most_texts_an_hour": most, "most_texts_a_minute": 1000}
        settled = replace(asked.duty, **(caps | duty))
        self.site = site_of(replace(asked, duty=settled))
        self.book = AlarmBook(self.site)
        self.telling = Telling(self.site, self.book.all)
        for booked in self.book.all:
            booked.causes, booked.consequences = [], []
            played = self.played[booked.key] = Played(booked.condition)
            booked.condition = played

    @property
    def mediums(self) -> list[str]:
        """The keys of its alarms that wake somebody, and are not of the gravest."""
        return [
            b.key
            for b in self.book.all
            if b.priority is Priority.MEDIUM
            and not b.configured.record.clears_unsaid
            and not b.condition.untold
        ]

    def with_number(self, number: int) -> str:
        """The key of the alarm that has this number now."""
        return next(booked.key for booked in self.book.all if booked.life.number == number)

    def raise_all(self, keys: list[str]) -> list[TextDue]:
        """One after the other, a second apart, and told by the longest delay."""
        texts: list[TextDue] = []
        for key in keys:
            texts += self.told(self.says(key, ACTIVE), SECOND)
        return texts + self.told([], 9 * MINUTE)

    def raise_at_once(self, keys: list[str]) -> list[TextDue]:
        """Each begins as much earlier as it takes longer to be raised: all are at one moment."""
        texts: list[TextDue] = []
        delays = {key: self.alarm(key).configured.on_delay_seconds for key in keys}
        raised_at = self.now + round(max(delays.values()) * SECOND)
        for key in sorted(keys, key=lambda key: -delays[key]):
            texts += self.told([], raised_at - round(delays[key] * SECOND) - self.now)
            texts += self.told(self.says(key, ACTIVE))
        return texts + self.told([], raised_at - self.now)

    def restart(self) -> None:
        """Killed, and begun again from what was kept."""
        kept = self.book.snapshot(), self.telling.snapshot()
        self.telling = Telling(self.site, self.book.all)
        self.book.restore(kept[0])
        self.telling.restore(kept[1])


def numbers(text: TextDue) -> tuple[int, ...]:
    """Every occurrence that a text tells of."""
    return (text.number, *text.notice.also)


def to(person: str, texts: list[TextDue]) -> list[TextDue]:
    """What one person gets."""
    return [text for text in texts if text.person == person]


def test_what_is_over_the_cap_comes_as_one_text_once_there_is_room() -> None:
    """Six alarms: three texts at once, an hour after the first one text names the other three."""
    crowd = Crowd(on_call=("yard",), replies=True)
    texts = crowd.raise_all(crowd.mediums[:6])
    assert [text.number for text in texts] == [1, 2, 3]
    for number in (1, 2, 3):
        crowd.told(crowd.book.take(number, "yard", crowd.now))
    (late,) = crowd.told([], texts[0].time + HOUR - crowd.now)
    assert (late.kind, numbers(late)) == ("several", (4, 5, 6))
    assert segment(late.notice) == (
        "Tern Hollow: nobody has these 3: TH4 silent, TH5 silent, TH6 silent. "
        "Reply TH4 MORE for what to do."
    )


def test_alarms_that_come_together_are_told_together() -> None:
    """Six at one moment: two texts with what to do, and a minute later one text that names the
    other four; one of them that is found to be high has its own at once."""
    crowd = Crowd(1000, on_call=("yard",), most_texts_a_minute=2)
    texts = crowd.raise_at_once(crowd.mediums[:6])
    assert [numbers(one) for one in texts] == [(1,), (2,)]
    began = crowd.now
    assert {one.time for one in texts} == {began}
    (grave,) = crowd.told(crowd.says(crowd.with_number(5), GRAVE))
    assert (grave.number, grave.time) == (5, began)
    assert crowd.told([], MINUTE - SECOND) == []
    (late,) = crowd.told([], SECOND)
    assert (late.kind, numbers(late), late.time) == ("several", (3, 4, 6), began + MINUTE)


def test_one_that_was_held_alone_comes_with_what_to_do() -> None:
    """Its own text, as if it had been raised just then."""
    crowd = Crowd(on_call=("yard",))
    texts = crowd.raise_all(crowd.mediums[:4])
    for number in (1, 2, 3):
        crowd.told(crowd.book.take(number, "yard", crowd.now))
    (late,) = crowd.told([], texts[0].time + HOUR - crowd.now)
    assert (late.number, late.notice.also) == (4, ())
    assert late.notice.response


def test_what_has_cleared_or_is_taken_by_then_is_told_as_that() -> None:
    """Nobody is asked to do what is done: each is named by how it is when the text goes out."""
    crowd = Crowd(on_call=("yard", "dispatch"))
    texts = to("yard", crowd.raise_all(crowd.mediums[:6]))
    crowd.told(crowd.says(crowd.with_number(4), CLEAR), 10 * MINUTE)
    for number in (1, 2, 3, 5):
        crowd.told(crowd.book.take(number, "dispatch", crowd.now))
    late = to("yard", crowd.told([], texts[0].time + HOUR - crowd.now))[0]
    assert "nobody has this: TH6 silent." in segment(late.notice)
    assert "TH4 cleared." in segment(late.notice)
    assert "TH1, TH2, TH3 and TH5 in hand." in segment(late.notice)


def test_a_grave_alarm_waits_for_nothing() -> None:
    """The yard has had its texts: what is found to be high reaches it in the same second."""
    crowd = Crowd(on_call=("yard",))
    crowd.raise_all(crowd.mediums[:6])
    (text,) = crowd.told(crowd.says(crowd.with_number(5), GRAVE))
    assert (text.number, text.priority) == (5, Priority.HIGH)
    late = next(one for one in crowd.told([], HOUR) if one.kind == "several")
    assert {4, 6} <= set(numbers(late))
    assert 5 not in numbers(late)


def test_nobody_who_sleeps_is_woken_by_what_was_held() -> None:
    """Quiet hours began meanwhile, and another is awake: the text waits for their end."""
    quiet = {"yard": IdleHours(begin=19 * 60, end=21 * 60)}
    crowd = Crowd(on_call=("yard", "dispatch"), quiet=quiet)
    crowd.raise_all(crowd.mediums[:6])
    first = to("yard", crowd.told([], 4 * HOUR))[0]
    assert first.kind == "several"
    assert 3 * HOUR <= first.time - START <= 3 * HOUR + 10 * MINUTE


def test_what_waits_for_the_morning_does_not_hold_up_what_is_graver() -> None:
    """A low alarm that was held just before 21:00 waits until 07:00; two medium ones of the night
    do not wait with it: the one that was held comes a minute after the other."""
    crowd = Crowd(1000, on_call=("yard", "dispatch"), most_texts_a_minute=1)
    low = Verdict(True, replace(Finding(value=61.0), priority=Priority.LOW))
    lows = [b.key for b in crowd.book.all if b.priority is Priority.LOW]
    lows = [key for key in lows if not crowd.alarm(key).configured.record.routine][:2]
    began = START + 3 * HOUR - 30 * SECOND
    for key in sorted(lows, key=lambda key: -crowd.alarm(key).configured.on_delay_seconds):
        delay = round(crowd.alarm(key).configured.on_delay_seconds * SECOND)
        crowd.told([], began - delay - crowd.now)
        crowd.told(crowd.says(key, low))
    assert [one.number for one in crowd.told([], 2 * HOUR)] == [1]
    crowd.raise_at_once(crowd.mediums[:2])
    (late,) = to("yard", crowd.told([], MINUTE))
    assert (set(numbers(late)), crowd.now - late.time) == ({2, 4}, 0)


def test_who_opted_out_is_not_told_of_what_was_held() -> None:
    """A carrier would drop it."""
    crowd = Crowd(on_call=("yard", "dispatch"))
    crowd.raise_all(crowd.mediums[:6])
    answer = Answer(
        depot=DEPOT, time=crowd.now, received=crowd.now, person="yard", body="", opted="out"
    )
    crowd.site.watch.reach["yard"].answered(answer)
    assert to("yard", crowd.told([], 2 * HOUR)) == []


def test_a_text_of_several_that_did_not_arrive_calls_the_next_for_each_of_them() -> None:
    """As one of its own would have: the call of each that it named goes on at once."""
    crowd = Crowd(on_call=("yard", "dispatch"), next_after_seconds=6 * 3600.0)
    slow = [k for k in crowd.mediums if crowd.alarm(k).configured.record.respond_seconds is None]
    texts = crowd.raise_all(slow[:6])
    (late, *_) = to("yard", crowd.told([], texts[0].time + HOUR - crowd.now))
    assert numbers(late) == (4, 5, 6)
    told = crowd.telling.not_reached(late.number, "yard", crowd.now, 0)
    assert sorted(number for one in told for number in numbers(one)) == [4, 5, 6]
    assert {one.person for one in told} == {"dispatch"}


@pytest.mark.parametrize("count", [2, 8, 9, 30])
def test_however_many_are_held_it_is_one_segment(count: int) -> None:
    """The gravest keeps its words, and no alarm is missing without being counted."""
    crowd = Crowd(most=1, on_call=("yard",), replies=True)
    keys = [booked.key for booked in crowd.book.all if booked.priority is not Priority.HIGH]
    keys = [key for key in keys if not crowd.alarm(key).condition.untold][: count + 1]
    for key in keys:
        crowd.alarm(key).life.priority = Priority.MEDIUM
    crowd.raise_all(keys)
    late = next(one for one in crowd.told([], HOUR) if one.kind == "several")
    body = segment(late.notice)
    assert septets(body) <= SEGMENT_SEPTETS
    named = sum(f" TH{number}" in body for number in numbers(late)[:8])
    assert named == min(len(numbers(late)), 8)
    if len(numbers(late)) > 8:
        assert f"and {len(numbers(late)) - 8} more." in body


ACTS = st.lists(
    st.tuples(
        st.sampled_from(["raise", "raise", "clear", "grave", "take", "shelve"]),
        st.integers(0, 7),
        st.sampled_from(["yard", "dispatch"]),
        st.sampled_from([0, SECOND, 5 * MINUTE, 40 * MINUTE]),
    ),
    max_size=25,
)


def play(crowd: Crowd, acts: list[tuple[str, int, str, int]], between: Callable[[], None]) -> None:
    """What happens at the depot, and then six quiet hours."""
    keys = crowd.mediums[:8]
    for what, which, person, passed in acts:
        booked = crowd.alarm(keys[which])
        match what:
            case "raise" | "grave" | "clear":
                verdict = {"raise": ACTIVE, "grave": GRAVE, "clear": CLEAR}[what]
                changes = crowd.says(keys[which], verdict)
            case "take":
                crowd.taken.add((person, booked.life.number))
                changes = crowd.book.take(booked.life.number, person, crowd.now)
            case _:
                number, until = booked.life.number, crowd.now + HOUR
                shelve = {"number": number, "until": until}
                changes = crowd.handle("shelve", by=person, **shelve) if number else []
        crowd.sent += crowd.told(changes, passed)
        between()
    crowd.sent += crowd.told([], 6 * HOUR)


def played(
    acts: list[tuple[str, int, str, int]], caps: tuple[int, int], *, restarts: bool = False
) -> Crowd:
    """A depot with these caps, an hour and a minute, at which all that has happened."""
    hour, minute = caps
    crowd = Crowd(hour, on_call=("yard", "dispatch"), replies=True, most_texts_a_minute=minute)
    play(crowd, acts, crowd.restart if restarts else lambda: None)
    return crowd


BY_HOUR, BY_MINUTE, FREE = (MOST, 1000), (1000, 2), (1000, 1000)


@pytest.mark.parametrize(
    ("caps", "most", "within"), [(BY_HOUR, MOST, HOUR), (BY_MINUTE, 2, MINUTE)]
)
@given(acts=ACTS)
@settings(max_examples=60, deadline=None)
def test_nobody_gets_more_than_the_cap_and_everybody_hears_of_all(
    caps: tuple[int, int], most: int, within: int, acts: list[tuple[str, int, str, int]]
) -> None:
    """Held against the same depot without a cap: no hour or minute has more texts but for grave
    ones, these come at the same moments, and whoever is told of an occurrence there is told of it
    here, but for what they took themselves before."""
    crowd = played(acts, caps)
    capped, free = crowd.sent, played(acts, FREE).sent
    for person in ("yard", "dispatch"):
        times = [
            one.time
            for one in to(person, capped)
            if one.number and one.priority is not Priority.HIGH
        ]
        pairs = zip(times, times[most:], strict=False)
        assert all(later - first >= within for first, later in pairs)
        heard = {number for one in to(person, capped) for number in numbers(one)}
        missing = {(person, one.number) for one in to(person, free) if one.number not in heard}
        assert missing <= crowd.taken
    grave = [
        [(one.time, one.person, one.number) for one in texts if one.priority is Priority.HIGH]
        for texts in (capped, free)
    ]
    assert set(grave[1]) <= set(grave[0])


@pytest.mark.parametrize("caps", [BY_HOUR, BY_MINUTE])
@given(acts=ACTS)
@settings(max_examples=30, deadline=None)
def test_a_restart_after_each_thing_that_happens_changes_no_text(
    caps: tuple[int, int], acts: list[tuple[str, int, str, int]]
) -> None:
    """What is held, and who was told when, are kept."""
    assert played(acts, caps, restarts=True).sent == played(acts, caps).sent
