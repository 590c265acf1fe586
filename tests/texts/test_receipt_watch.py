"""A gateway that says yes and delivers nothing is noticed by the receipts that don't come."""

from brineward.clock import MachineClock
from brineward.readings.entries import ServiceTrouble
from brineward.texts.receipt_watch import ReceiptWatch


def watched() -> tuple[ReceiptWatch, list[tuple[bool, str]]]:
    """A watch, and what it posts."""
    posted: list[tuple[bool, str]] = []

    def post(entry: ServiceTrouble) -> None:
        assert entry.trouble == "receipts-missing"
        posted.append((entry.present, entry.sentence))

    return ReceiptWatch(MachineClock(), post), posted


def test_one_may_be_lost_and_two_in_a_row_are_the_gateway() -> None:
    """Told at the second, once; and that it is over at the first receipt."""
    watch, posted = watched()
    watch.missed("phone")
    assert [present for present, _ in posted] == [False]
    watch.missed("phone")
    watch.missed("phone")
    assert [present for present, _ in posted] == [False, True]
    assert posted[-1][1].startswith("channel phone gave no receipt of 2")
    watch.came("phone")
    assert [present for present, _ in posted] == [False, True, False]


def test_a_receipt_in_between_is_no_row_and_channels_are_counted_apart() -> None:
    """Only what one gateway does counts against it."""
    watch, posted = watched()
    watch.missed("phone")
    watch.came("phone")
    watch.missed("phone")
    watch.missed("desk")
    assert not any(present for present, _ in posted)


def test_what_the_last_run_left_is_put_right_at_the_first_receipt() -> None:
    """The service was started again while the alarm was active: it does not stay for ever."""
    watch, posted = watched()
    watch.came("phone")
    assert posted == [(False, "Receipts come again.")]


def test_what_could_not_be_posted_is_posted_at_the_next() -> None:
    """A disk that refuses costs no alarm."""
    refuse = [True]
    posted: list[ServiceTrouble] = []

    def post(entry: ServiceTrouble) -> None:
        if refuse[0]:
            raise OSError(28, "No space left on device")
        posted.append(entry)

    watch = ReceiptWatch(MachineClock(), post)
    for _ in range(2):
        try:
            watch.missed("phone")
        except OSError:
            continue
    refuse[0] = False
    watch.missed("phone")
    assert [one.present for one in posted] == [True]
