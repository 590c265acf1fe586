"""From a gateway's call to a record in the journal's inbox, with the real listener and journal."""

from brineward.journal.journal import Journal
from brineward.readings.by_hand import LoadTaken, SaltDelivered, Struck
from brineward.readings.entries import HandRecord, Take
from service.test_replying import DISPATCH, STRANGER, House, house

__all__ = ["house"]


def records_in(journal: Journal) -> list[HandRecord]:
    """The records that wait for the service."""
    return [entry for _, entry in journal.inbox.waiting() if isinstance(entry, HandRecord)]


def test_a_load_is_recorded_by_text_and_answered(house: House) -> None:
    """With its number, and what was understood."""
    assert house.text("TH load 1200 truck 7") == "recorded"
    (entry,) = records_in(house.journal)
    assert (entry.depot, entry.by) == ("tern-hollow", "yard")
    assert isinstance(entry.record, LoadTaken)
    assert entry.record.truck == "7"
    words = house.answers()[-1][2]
    assert words == "Tern Hollow, number 1: load of 1,200 L from main tank, truck 7."


def test_it_is_corrected_and_struck_by_text(house: House) -> None:
    """Each a record of its own; the earlier ones stay."""
    house.text("TH load 1200 truck 7", id_="a")
    assert house.text("TH fix 1 load 1100 truck 7", id_="b") == "recorded"
    assert house.text("th strike 2 typed twice", id_="c") == "recorded"
    found = records_in(house.journal)
    assert [one.corrects for one in found] == [0, 1, 2]
    assert isinstance(found[2].record, Struck)
    assert found[2].why == "typed twice"
    assert house.answers()[-1][2] == "Tern Hollow, number 3: number 2 is struck."
    assert house.text("TH fix 1 load 900 truck 7", id_="d") == "not recorded"
    assert house.answers()[-1][2] == "Number 1 was corrected already: correct 2."


def test_what_is_not_understood_is_asked_back_and_nothing_is_recorded(house: House) -> None:
    """A dozen litres are a slip (a metric depot); who is not on call records nothing."""
    assert house.text("TH load 12 truck 7", id_="a") == "not recorded"
    assert "12 L is a small load" in house.answers()[-1][2]
    assert house.text("KR salt 20 tons", sender=DISPATCH, id_="b") == "not recorded"
    assert house.text("TH salt 20 tons", sender=STRANGER, id_="c") == "stranger"
    assert records_in(house.journal) == []


def test_the_same_text_handed_in_twice_is_one_record(house: House) -> None:
    """A gateway that repeats itself doubles no delivery."""
    house.text("TH salt 20 tons", id_="a")
    house.text("TH salt 20 tons", id_="a")
    (entry,) = records_in(house.journal)
    assert isinstance(entry.record, SaltDelivered)


def test_a_record_s_word_beside_a_code_takes_nothing_and_records_nothing(house: House) -> None:
    """ "note TH3 is mine" may mean either, so it is asked back."""
    assert house.text("note TH3 is mine") == "not understood"
    assert records_in(house.journal) == []
    assert not [one for _, one in house.journal.inbox.waiting() if isinstance(one, Take)]
