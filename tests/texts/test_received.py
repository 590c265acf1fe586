"""What a modem has received: which messages are whole, which are new, and which are no more."""

from brineward.texts.received import Gathered, Message, Stored, listed

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
