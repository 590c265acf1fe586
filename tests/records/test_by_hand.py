"""Records by hand as they are read back: numbered, corrected, and never gone."""

from hypothesis import given
from hypothesis import strategies as st

from brineward.journal import Journal
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
    along each chain of corrections only the last can hold."""
    entries = [record(n, corrects, strikes=s) for n, (corrects, s) in enumerate(said, 1)]
    found = numbered(entries)
    assert [one.entry for one in found] == entries
    for one in found:
        if one.replaced_by:
            assert one.replaced_by > one.number
            assert not one.holds
    corrected = {entry.corrects for n, entry in enumerate(entries, 1) if entry.corrects < n}
    assert {one.number for one in found if one.replaced_by} == corrected - {0}
