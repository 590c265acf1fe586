"""From a gateway's call to a mode in the journal's inbox, with the real listener and journal."""

from brineward.journal.journal import Journal
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from service.test_replying import DISPATCH, STRANGER, House, house

__all__ = ["house"]


def modes_in(journal: Journal) -> list[ModeSet]:
    """The modes that wait for the service."""
    return [entry for _, entry in journal.inbox.waiting() if isinstance(entry, ModeSet)]


def test_a_text_sets_the_mode_and_is_answered(house: House) -> None:
    """With what is watched and what is quiet, in one text."""
    assert house.text("th laid up") == "mode set"
    (entry,) = modes_in(house.journal)
    assert (entry.depot, entry.mode, entry.by) == ("tern-hollow", Mode.LAID_UP, "yard")
    [(depot, person, words, _)] = house.answers()
    assert (depot, person) == ("tern-hollow", "yard")
    assert words.startswith("Tern Hollow is laid up now. No texts of: ")
    assert words.endswith("Texts if there is liquid, a fill or a running pump.")
    assert len(words) <= 160


def test_only_who_is_on_call_there_sets_it(house: House) -> None:
    """The dispatch desk is known, but not on call at Kettle Ridge; a stranger is nobody."""
    assert house.text("KR laid up", sender=DISPATCH, id_="a") == "mode not set"
    assert house.text("TH laid up", sender=STRANGER, id_="b") == "stranger"
    assert modes_in(house.journal) == []
    [(_, _, words, _)] = house.answers()
    assert words == "You are not on call at Kettle Ridge. Yard lead can set its mode."


def test_one_batch_stays_until_somebody_says_otherwise_or_it_is_drained(house: House) -> None:
    """A mode set without a word of it keeps it; a season that is over ends it."""
    for place, text in enumerate(
        ["TH filling up one batch", "TH in service", "TH draining", "TH filling up"]
    ):
        house.text(text, id_=f"m{place}")
    assert [one.single_batch for one in modes_in(house.journal)] == [True, True, False, False]
    assert "One batch: texts if it refills." in house.answers()[1][2]


def test_the_next_step_is_told_on_request(house: House) -> None:
    """By what the sensors show: here they have all been silent."""
    house.text("TH filling up", id_="a")
    assert house.text("TH next", id_="b") == "next step"
    words = house.answers()[-1][2]
    assert words.startswith(
        "Tern Hollow is filling up. Step 1 of 6: switch the sensors on (silent:"
    )
    house.text("TH in service", id_="c")
    house.text("TH next", id_="d")
    no_steps = "There are steps only while a depot is filling up or being drained."
    assert no_steps in house.answers()[-1][2]


def test_the_words_of_a_mode_change_no_alarm(house: House) -> None:
    """Nothing is taken, nobody opts out."""
    house.text("TH standing by")
    assert [type(entry).__name__ for _, entry in house.journal.inbox.waiting()] == [
        "ModeSet",
        "Answer",
    ]


def test_a_depot_is_on_storm_watch(house: House) -> None:
    """As people say it; nothing is quiet then."""
    house.text("TH storm")
    assert house.answers()[-1][2] == (
        "Tern Hollow is on storm watch now. All is watched. Pumps may run at any hour."
    )
