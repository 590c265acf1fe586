"""What a modem has received: which messages are whole, which are new, and which are no more."""

from brineward.texts.pdu import Part
from brineward.texts.received import (
    WAIT_FOR_PARTS_SECONDS,
    Gathered,
    Message,
    Stored,
    listed,
)

YARD = "+15550100141"


def unstamped(place: int, text: str) -> Stored:
    """As a modem lists it in text mode that gives no time with it."""
    hexed = [one.encode("utf-16-be").hex().upper() for one in (YARD, text)]
    (found,) = listed([f'+CMGL: {place},"REC UNREAD","{hexed[0]}",,', hexed[1]])
    assert (found.text, found.stamp) == (text, "")
    return found


def dealt_with(gathered: Gathered) -> list[Message]:
    """What is handed in now, and dealt with."""
    found = gathered.whole(0.0)
    for message in found:
        gathered.done(message)
    return found


def test_a_text_whose_place_could_not_be_freed_is_not_new_when_it_is_listed_again() -> None:
    """However long the modem refuses to delete it, and though no time tells it from another; in a
    place that was freed the same words are another text."""
    gathered, load = Gathered(), unstamped(1, "TH load 1200")
    gathered.add_stored([load])
    assert [one.text for one in dealt_with(gathered)] == ["TH load 1200"]
    for _ in range(100):
        gathered.add_stored([load])
        assert dealt_with(gathered) == []
        assert gathered.to_free == [1]
    gathered.freed(1)
    assert gathered.to_free == []
    gathered.add_stored([load])
    assert [one.text for one in dealt_with(gathered)] == ["TH load 1200"]


def test_a_place_that_is_listed_no_longer_is_free() -> None:
    """The modem deleted it and only its answer was lost."""
    gathered, load = Gathered(), unstamped(1, "TH load 1200")
    gathered.add_stored([load])
    dealt_with(gathered)
    gathered.add_stored([])
    assert gathered.to_free == []
    gathered.add_stored([load])
    assert len(dealt_with(gathered)) == 1


def part(number: int, text: str, minute: int, *, stored: int | None = None) -> Stored:
    """One of two with always the same reference, which a centre got so many minutes after noon."""
    stamp = f"26/01/12,12:{minute:02}:00+00"
    its = Part(reference=7, total=2, place=number)
    return Stored(place=stored, sender=YARD, text=text, stamp=stamp, part=its)


def texts_of(messages: list[Message]) -> list[str]:
    """Their words."""
    return [one.text for one in messages]


def test_a_whole_message_that_waits_is_not_joined_with_a_new_one_of_the_same_reference() -> None:
    """Held back while it can't be dealt with, as by a full disk: each is handed in as it was."""
    gathered = Gathered()
    gathered.add([part(1, "TH12 on it, ", 0), part(2, "20 min", 0)])
    assert texts_of(gathered.whole(0.0)) == ["TH12 on it, 20 min"]
    for minute, found in ((1, ["TH12 on it, 20 min"]), (2, ["TH12 on it, 20 min"])):
        gathered.add([part(1, "TH13 on it, ", 1)])
        assert texts_of(gathered.whole(minute * 60.0)) == found
    gathered.add([part(2, "an hour", 1)])
    assert texts_of(gathered.whole(180.0)) == ["TH12 on it, 20 min", "TH13 on it, an hour"]
    assert gathered.take_dropped() == []


def test_an_old_half_is_dropped_and_said_where_its_reference_is_used_again() -> None:
    """It is not the beginning of the new text, whose end comes first here; its place is freed."""
    gathered = Gathered()
    gathered.add_stored([part(1, "TH12 on it, ", 0, stored=1)])
    assert gathered.whole(0.0) == []
    new = [part(2, "truck 7", 6, stored=2)]
    gathered.add_stored([part(1, "TH12 on it, ", 0, stored=1), *new])
    assert gathered.whole(360.0) == []
    (said,) = gathered.take_dropped()
    assert said.startswith("part of a text of 2026-01-12T12:00:00")
    assert gathered.take_dropped() == []
    assert gathered.to_free == [1]
    gathered.add([part(1, "TH load 1200 ", 6)])
    assert texts_of(gathered.whole(361.0)) == ["TH load 1200 truck 7"]


def test_parts_that_follow_within_minutes_are_one_message() -> None:
    """In any order, also where one comes twice."""
    gathered = Gathered()
    gathered.add([part(2, "20 min", 2), part(1, "TH12 on it, ", 0, stored=4)])
    gathered.add([part(1, "TH12 on it, ", 0, stored=5)])
    (found,) = dealt_with(gathered)
    assert found.text == "TH12 on it, 20 min"
    assert gathered.to_free == [4, 5]


def test_a_half_is_handed_in_alone_once_it_was_waited_for() -> None:
    """A take may stand in it. Of two first halves the end goes with the one that it followed."""
    gathered = Gathered()
    gathered.add([part(1, "TH12 on it, ", 0), part(1, "TH13 on it, ", 1), part(2, "20 min", 1)])
    assert texts_of(dealt_with(gathered)) == ["TH13 on it, 20 min"]
    assert gathered.whole(WAIT_FOR_PARTS_SECONDS - 1.0) == []
    assert texts_of(gathered.whole(WAIT_FOR_PARTS_SECONDS)) == ["TH12 on it, "]
