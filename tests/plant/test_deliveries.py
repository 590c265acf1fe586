"""Which recorded deliveries of salt count, and what was left after the last."""

from hypothesis import given
from hypothesis import strategies as st

from brineward.plant.deliveries import KEPT, PURE, Deliveries
from brineward.readings.by_hand import Remark, SaltDelivered, Struck
from brineward.readings.entries import HandRecord
from brineward.readings.instants import Instant
from brineward.records.by_hand import numbered

DEPOT = "tern-hollow"
MUCH = 1e9
SAID = (SaltDelivered(mass_kg=1000.0), Remark(note="x"), Struck())


def entry(n: int, said: int, corrects: int = 0) -> HandRecord:
    """The n-th; a delivery of its own weight, a remark or a strike."""
    record = SaltDelivered(mass_kg=1000.0 + n) if said == 0 else SAID[said]
    return HandRecord(depot=DEPOT, time=n, received=n, at=n, record=record, corrects=corrects)


def nothing_used(at: Instant) -> float:
    """Nothing was used yet."""
    return 0.0


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, KEPT)), max_size=KEPT))
def test_what_counts_is_what_the_list_of_records_says(said: list[tuple[int, int]]) -> None:
    """Whatever is corrected by what, in any order: the same deliveries hold as in `record --list`,
    which is found from all records at once. Between any two the state is written and read back."""
    entries = [entry(n, *one) for n, one in enumerate(said, 1)]
    found = Deliveries(MUCH)
    for number, one in enumerate(entries, 1):
        found.recorded(number, one, nothing_used)
        again = Deliveries(MUCH)
        again.restore(found.snapshot())
        assert again.snapshot() == found.snapshot()
        found = again
        holding = [
            kept.entry.record.mass_kg * PURE
            for kept in numbered(entries[:number])
            if kept.holds and isinstance(kept.entry.record, SaltDelivered)
        ]
        left = found.left()
        assert (left is None) == (holding == [])
        assert left is None or abs(left.salt_kg - sum(holding)) < 0.001 * (len(holding) + 1)


def test_what_is_used_between_two_is_taken_off_and_a_pile_is_not_counted() -> None:
    """1,000 kg, of which 400 are used; then 2,000 into a hopper that holds 1,800 kg."""
    found = Deliveries(1800.0)
    found.recorded(1, entry(1, 0), lambda at: 0.0)
    found.recorded(2, entry(1000, 0), lambda at: 400.0)
    left = found.left()
    assert left is not None
    first, second = 1001 * PURE, 2000 * PURE
    assert left.salt_kg == round(max(second, 1800.0), 3), "all of the second went in"
    assert first - 400.0 + second > left.salt_kg


def test_only_so_many_are_remembered() -> None:
    """A correction of one that was forgotten changes nothing: it was used up long ago."""
    found = Deliveries(MUCH)
    for number in range(1, KEPT + 11):
        found.recorded(number, entry(number, 0), nothing_used)
    before = found.snapshot()
    assert len(before[1]) == KEPT
    assert not found.recorded(KEPT + 11, entry(KEPT + 11, 2, corrects=5), nothing_used)
    assert not found.recorded(KEPT + 12, entry(KEPT + 12, 0, corrects=6), nothing_used)
    assert found.snapshot() == before
    assert found.recorded(KEPT + 13, entry(KEPT + 13, 2, corrects=11), nothing_used)


def test_a_correction_keeps_the_time_of_what_it_corrects_unless_it_says_another() -> None:
    """What had been used when the salt came is what counts, not when the slip was noticed."""
    found = Deliveries(MUCH)
    found.recorded(1, entry(1, 0), lambda at: 100.0)
    found.recorded(2, entry(50, 0, corrects=1), lambda at: 900.0)
    left = found.left()
    assert left is not None
    assert (left.used_kg, left.at) == (100.0, 1)
    told = HandRecord(
        depot=DEPOT, time=60, received=60, at=40, record=SaltDelivered(mass_kg=10.0), corrects=2
    )
    found.recorded(3, told, lambda at: 800.0)
    left = found.left()
    assert left is not None
    assert (left.used_kg, left.at) == (800.0, 40)
