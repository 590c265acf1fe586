"""A damaged journal's texts come through with the way that each had got to."""

from brineward.journal import Journal, open_or_salvage
from brineward.readings.outputs import Step
from journal.samples import reading, text
from journal.test_damage import NOW, with_sql

LATER = NOW + 60_000


def test_a_text_goes_on_by_the_way_that_it_had_got_to(tmp_path):
    """Not from its first channel again, and a receipt on its way still finds it."""
    path = tmp_path / "a.journal"
    with Journal.open(path) as journal:
        due = text()
        journal.commit([Step(reading(0), (due,))])
        journal.outbox.record_way(due.id, NOW, NOW, 1, "no answer")
        journal.outbox.record_sent(due.id, NOW, LATER, "gw-17", "202")
    with_sql(path, "PRAGMA user_version = 0")
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is not None
        (kept,) = journal.outbox.texts_open(LATER)
        assert (kept.way, kept.known_as) == (1, "gw-17")
        assert journal.outbox.record_receipt("gw-17", NOW, delivered=True, words="delivered")
        assert journal.outbox.texts_open(LATER) == []
