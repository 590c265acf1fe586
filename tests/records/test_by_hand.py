"""Records by hand as they are read back: numbered, corrected, and never gone."""

from hypothesis import given
from hypothesis import strategies as st

from brineward.journal import Journal
from brineward.journal.inbox import post
from brineward.readings.by_hand import Remark, SaltDelivered, Struck
from brineward.readings.entries import HandRecord
from brineward.readings.outputs import Step
from brineward.records.by_hand import numbered
from journal.samples import T0, asked


def record(n: int, corrects: int = 0, *, strikes: bool = False, depot="tern-hollow") -> HandRecord:
    """The n-th: a delivery of n kg, or what strikes another."""
    said = Struck() if strikes else SaltDelivered(mass_kg=float(n))
    return HandRecord(
        depot=depot, time=T0 + n, received=T0 + n, at=T0 + n, record=said, by="yard",
        corrects=corrects, why="slip" if corrects else "",
    )  # fmt: skip


def test_what_holds_is_what_nobody_corrected(tmp_path):
    """A correction takes the place of what it names; what is struck counts no more; all stay."""
    entries = [record(1), record(2), record(3, corrects=1), record(4, corrects=2, strikes=True)]
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit([Step(entry, ()) for entry in entries])
        found = asked(journal).by_hand
        assert [one.number for one in found.between("tern-hollow")] == [3]
        everything = found.everything("tern-hollow")
    assert [one.entry for one in everything] == entries
    assert [one.replaced_by for one in everything] == [3, 4, 0, 0]


def test_a_record_lies_in_the_time_that_it_is_about(tmp_path):
    """Entered today about yesterday: it is yesterday's; another depot's is not counted here."""
    late = HandRecord(
        depot="tern-hollow", time=T0 + 900, received=T0 + 900, at=T0 + 10, by="yard",
        record=Remark(note="late"),
    )  # fmt: skip
    with Journal.open(tmp_path / "a.journal") as journal:
        other = record(2, depot="kettle-ridge")
        journal.commit([Step(one, ()) for one in (other, record(500), late)])
        found = asked(journal).by_hand
        assert [one.number for one in found.between("tern-hollow", T0, T0 + 100)] == [2]
        assert [one.number for one in found.between("tern-hollow")] == [2, 1]


@given(st.lists(st.tuples(st.integers(0, 30), st.booleans()), max_size=25))
def test_however_people_correct_each_other_nothing_is_lost_and_one_holds(said):
    """Whatever is named: every record keeps its number, none is replaced by an earlier one, and
    of a first record with all that corrects it or its corrections only one can hold."""
    entries = [record(n, corrects, strikes=s) for n, (corrects, s) in enumerate(said, 1)]
    found = numbered(entries)
    assert [one.entry for one in found] == entries
    for one in found:
        if one.replaced_by:
            assert one.replaced_by > one.number
            assert not one.holds
    first = list(range(len(entries) + 1))
    for n, entry in enumerate(entries, 1):
        if 0 < entry.corrects < n:
            first[n] = first[entry.corrects]
    unreplaced = [first[one.number] for one in found if not one.replaced_by]
    assert sorted(unreplaced) == sorted(set(first[1:]))


def test_two_corrections_of_one_record_count_as_one():
    """Two people correct the same load at once: the later correction is the one that counts."""
    found = numbered([record(1), record(2, corrects=1), record(3, corrects=1)])
    assert [one.replaced_by for one in found] == [2, 3, 0]


def test_a_record_that_cannot_be_read_keeps_its_number(tmp_path):
    """A spoilt row shifts nobody's number: a correction of number 3 still corrects number 3."""
    entries = [record(1), record(2), record(3), record(4, corrects=3)]
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit([Step(entry, ()) for entry in entries])
        with journal.handle.writing() as db:
            db.execute(
                "UPDATE happening SET body = '{' WHERE kind = 'record' AND time = ?", (T0 + 2,)
            )
        found = asked(journal).by_hand.everything("tern-hollow")
        assert journal.handle.unreadable["happening"] == 1
    assert [(one.number, one.replaced_by) for one in found] == [(1, 0), (3, 4), (4, 0)]


def test_a_record_that_waits_for_the_service_has_its_number_already(tmp_path):
    """What was entered while the service is down counts when the next one is numbered."""
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit([Step(record(1), ())])
        with journal.handle.writing() as db:
            post(db, record(2, depot="kettle-ridge"))
            post(db, record(3))
            waiting = asked(journal).by_hand.with_waiting(db, "tern-hollow")
    assert [(one.number, one.entry.time) for one in waiting] == [(1, T0 + 1), (2, T0 + 3)]
