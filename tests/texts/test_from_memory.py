"""Texts that can't wait for their record: sent once from memory, and settled once it is kept."""

from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from brineward.config.settings import FileChannel, Person
from brineward.readings.instants import SECOND
from brineward.readings.outputs import Priority
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.dispatch import Dispatcher, Lane
from brineward.texts.from_memory import FromMemory
from brineward.texts.senders import OutgoingText
from outboxes import NOW, MemoryOutbox, Text, high_text
from texts.test_dispatch import DrivenClock, DrivenPool

DUE = high_text("12-raised-1-yard", "TH12")


class Desk:
    """One channel, its thread in the test's hand; the outbox holds what the disk has taken."""

    def __init__(self) -> None:
        self.clock = DrivenClock()
        self.pool = DrivenPool()
        self.sent: list[OutgoingText] = []
        self.by: list[str] = []
        """The channel of each."""
        self.answer: Outcome = Accepted(receipt="ok")
        self.answers: dict[str, Outcome] = {}
        """Of each channel; where it has none, `answer`."""
        self.outbox = MemoryOutbox()
        self.woken = 0
        lanes = {
            name: Lane(FileChannel(id=name, path=Path("texts.jsonl")), _Door(self, name), self.pool)
            for name in ("phone", "mail")
        }
        people = {
            "yard": Person(id="yard", name="Yard lead", channel="phone", address="+15550141"),
            "desk": Person(id="desk", name="Desk", channels=("phone", "mail"), address="+15550140"),
        }
        self.memory = FromMemory(
            lanes, people, self.clock, key_of=lambda due: f"k7-{due.id}", wake=self.wake
        )
        self.dispatcher = Dispatcher(
            self.outbox,
            lanes,
            people,
            self.clock,
            wake=self.wake,
            on_trouble=lambda _: None,
            from_memory=self.memory,
        )

    def wake(self) -> None:
        self.woken += 1

    def send(self, text: OutgoingText, by: str) -> Outcome:
        self.sent.append(text)
        self.by.append(by)
        return self.answers.get(by, self.answer)

    def refused_turn(self) -> None:
        """A turn of the dispatcher while the disk refuses, and the channels after it."""
        with pytest.raises(OSError, match="No space left"):
            self.dispatcher.turn()
        self.pool.run()

    def turns(self) -> None:
        """Some turns of the dispatcher, its channel answering in between."""
        for _ in range(4):
            self.dispatcher.turn()
            self.pool.run()


@dataclass
class _Door:
    """One channel of the desk."""

    desk: Desk
    name: str

    def send(self, text: OutgoingText) -> Outcome:
        return self.desk.send(text, self.name)


@pytest.fixture
def desk() -> Desk:
    """Nothing was sent yet."""
    return Desk()


def test_it_is_sent_once_and_settled_once_it_is_kept(desk: Desk) -> None:
    """However often it is handed over; its record has an attempt and the receipt, and the key was
    the one that the outbox gives it."""
    for _ in range(3):
        desk.memory.send([DUE])
        desk.pool.run()
    kept = Text()
    desk.outbox.add(kept)
    desk.turns()
    assert [text.key for text in desk.sent] == [kept.key]
    assert desk.outbox.story == [("attempt", DUE.id), ("accepted", DUE.id)]
    assert desk.woken >= 1


def test_while_it_is_under_way_its_record_waits(desk: Desk) -> None:
    """The disk takes records again in the middle of the sending: it is not sent a second time."""
    desk.memory.send([DUE])
    desk.outbox.add(Text())
    desk.dispatcher.turn()
    assert desk.outbox.story == []
    desk.pool.run()
    desk.turns()
    assert len(desk.sent) == 1
    assert desk.outbox.settled() == [("accepted", DUE.id)]


def test_what_failed_is_tried_again_later(desk: Desk) -> None:
    """After a pause as any text's; and once its record is kept, it goes the usual way."""
    desk.answer = Failed(why="503")
    desk.memory.send([DUE])
    desk.pool.run()
    desk.memory.send([DUE])
    desk.pool.run()
    assert len(desk.sent) == 1
    desk.clock.time += 5 * SECOND
    desk.memory.send([DUE])
    desk.pool.run()
    assert [text.attempt for text in desk.sent] == [1, 2]
    desk.answer = Accepted(receipt="ok")
    desk.outbox.add(Text())
    desk.turns()
    assert len(desk.sent) == 3
    assert desk.outbox.settled() == [("accepted", DUE.id)]


def test_what_is_never_accepted_is_left_to_its_record(desk: Desk) -> None:
    """It isn't tried again from memory; the usual way finds the same and gives it up."""
    desk.answer = NeverAccepted(why="no such number")
    for _ in range(3):
        desk.memory.send([DUE])
        desk.pool.run()
        desk.clock.time += 60 * SECOND
    assert len(desk.sent) == 1
    desk.outbox.add(Text())
    desk.turns()
    assert [how for how, _ in desk.outbox.settled()] == ["dead: no such number"]


def test_low_priorities_and_strangers_wait(desk: Desk) -> None:
    """What can wait for the morning can wait for the disk; nobody is guessed."""
    desk.memory.send(
        [replace(DUE, priority=Priority.LOW), replace(DUE, id="x", person="nobody")],
    )
    desk.pool.run()
    assert desk.sent == []


def test_what_one_way_never_takes_goes_by_the_next(desk: Desk) -> None:
    """At once, and once: a gateway that says 401 keeps nobody from being told while there is mail.
    Once the disk is back it is settled, and not sent again."""
    desk.answers["phone"] = NeverAccepted(why="401")
    due = replace(DUE, person="desk")
    for _ in range(4):
        desk.memory.send([due])
        desk.pool.run()
        desk.clock.time += 60 * SECOND
    assert desk.by == ["phone", "mail"]
    desk.outbox.add(Text(person="desk"))
    desk.turns()
    assert desk.by == ["phone", "mail"]
    assert desk.outbox.settled() == [("accepted", DUE.id)]


def test_what_failed_by_the_only_way_that_is_left_is_tried_there_again(desk: Desk) -> None:
    """After a pause; the way that never takes it is not asked again."""
    desk.answers = {"phone": NeverAccepted(why="404"), "mail": Failed(why="450")}
    for _ in range(6):
        desk.memory.send([replace(DUE, person="desk")])
        desk.pool.run()
        desk.clock.time += 60 * SECOND
    assert desk.by == ["phone", *["mail"] * 5]


def test_what_was_kept_before_the_disk_failed_is_sent_all_the_same(desk: Desk) -> None:
    """High and medium ones, all of them, by ways that work; low ones wait. Once the disk is back
    each is settled, and none is sent again."""
    desk.answers["phone"] = NeverAccepted(why="401")
    kept = [
        Text(id="1", number=1, person="desk"),
        Text(id="2", number=2, person="desk", priority=Priority.MEDIUM),
        Text(id="3", number=3, person="desk", priority=Priority.LOW),
    ]
    desk.outbox.add(*kept)
    desk.outbox.broken = {"attempt", "accepted", "way 1"}
    for _ in range(4):
        desk.refused_turn()
    assert [(text.key, by) for text, by in zip(desk.sent, desk.by, strict=True)] == [
        ("k7-1", "phone"),
        ("k7-2", "phone"),
        ("k7-1", "mail"),
        ("k7-2", "mail"),
    ]
    desk.outbox.broken = set()
    desk.turns()
    desk.turns()
    assert [text.key for text in desk.sent[4:]] == ["k7-3", "k7-3"]
    assert sorted(desk.outbox.settled()) == [("accepted", one) for one in "123"]


def test_what_was_in_the_air_as_the_disk_failed_is_not_sent_twice(desk: Desk) -> None:
    """Taken, and no record of it can be kept: that is no reason to send it again; another that
    waited behind it goes out."""
    desk.outbox.add(Text(id="1", number=1))
    desk.dispatcher.turn()
    desk.pool.run()
    desk.outbox.broken = {"attempt", "accepted"}
    desk.outbox.add(Text(id="2", number=2))
    for _ in range(3):
        desk.refused_turn()
    assert [text.key for text in desk.sent] == ["k7-1", "k7-2"]
    desk.outbox.broken = set()
    desk.turns()
    assert [text.key for text in desk.sent] == ["k7-1", "k7-2"]
    assert sorted(desk.outbox.settled()) == [("accepted", "1"), ("accepted", "2")]


def test_the_next_word_of_an_alarm_follows_one_that_went_out_without_a_record(desk: Desk) -> None:
    """That it has cleared, for example, in this order."""
    desk.outbox.add(Text(id="1", created=NOW), Text(id="2", kind="cleared", created=NOW + 1))
    desk.outbox.broken = {"attempt", "accepted"}
    for _ in range(3):
        desk.refused_turn()
    assert [text.key for text in desk.sent] == ["k7-1", "k7-2"]
