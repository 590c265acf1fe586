"""Texts that can't wait for their record: sent once from memory, and settled once it is kept."""

from dataclasses import replace
from pathlib import Path

import pytest

from brineward.config.settings import FileChannel, Person
from brineward.readings.instants import SECOND
from brineward.readings.outputs import Notice, Priority, TextDue
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.dispatch import Dispatcher, Lane
from brineward.texts.from_memory import FromMemory
from brineward.texts.senders import OutgoingText
from outboxes import NOW, MemoryOutbox, Text
from texts.test_dispatch import DrivenClock, DrivenPool

DUE = TextDue(
    id="12-raised-1-yard",
    time=NOW,
    depot="tern-hollow",
    number=12,
    person="yard",
    kind="raised",
    priority=Priority.HIGH,
    notice=Notice(kind="raised", plain="TH12"),
)


class Desk:
    """One channel, its thread in the test's hand; the outbox holds what the disk has taken."""

    def __init__(self) -> None:
        self.clock = DrivenClock()
        self.pool = DrivenPool()
        self.sent: list[OutgoingText] = []
        self.answer: Outcome = Accepted(receipt="ok")
        self.outbox = MemoryOutbox()
        self.woken = 0
        channel = FileChannel(id="phone", path=Path("phone.jsonl"))
        lanes = {"phone": Lane(channel, self, self.pool)}
        people = {
            "yard": Person(id="yard", name="Yard lead", channel="phone", address="+15550141"),
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

    def send(self, text: OutgoingText) -> Outcome:
        self.sent.append(text)
        return self.answer

    def turns(self) -> None:
        """Some turns of the dispatcher, its channel answering in between."""
        for _ in range(4):
            self.dispatcher.turn()
            self.pool.run()


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
