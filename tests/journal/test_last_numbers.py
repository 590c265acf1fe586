"""Which numbers a depot has given away, so that none is given twice."""

from pathlib import Path

from brineward.journal import Journal
from brineward.readings.outputs import Notice, Step, TextDue
from journal.samples import T0, alarm, reading, text


def letter(name: str, depot: str = "tern-hollow") -> TextDue:
    """A text that is about no alarm; its id says nothing that could be read out of it."""
    notice = Notice(kind="answer", plain="Done.")
    return text(depot=depot, number=0, kind="answer", notice=notice, person=name)


def test_the_highest_of_each_depot(tmp_path: Path) -> None:
    """By number, not by order of writing or of letters; another depot's don't count."""
    with Journal.open(tmp_path / "a.journal") as journal:
        assert journal.resuming.last_numbers("tern-hollow") == (0, 0)
        outputs = (
            alarm(number=12),
            alarm(number=9),
            alarm(number=40, depot="tern"),
            letter("night-desk-2"),
            letter("yard"),
            letter("yard", "tern"),
        )
        journal.commit([Step(reading(1), outputs)])
        assert journal.resuming.last_numbers("tern-hollow") == (12, 2)
        assert journal.resuming.last_numbers("tern") == (40, 1)
        # Told again, as a broker does: nothing more was given.
        journal.commit([Step(reading(1), outputs)])
        assert journal.resuming.last_numbers("tern-hollow") == (12, 2)


def test_numbers_are_not_read_out_of_ids(tmp_path: Path) -> None:
    """An id is a name and may look like anything; the numbers stand in columns of their own."""
    odd = TextDue(
        id="|x|-0-9999-|",
        time=T0,
        depot="tern-hollow",
        number=0,
        person="yard",
        kind="summary",
        priority=text().priority,
        notice=Notice(kind="summary", plain="All quiet."),
    )
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit([Step(reading(1), (alarm(number=3, source="a|b|77|c"), odd))])
        assert journal.resuming.last_numbers("tern-hollow") == (3, 1)


def test_two_journals_never_give_a_gateway_the_same_key(tmp_path: Path) -> None:
    """Ids begin again in a fresh journal; the keys that gateways drop repeats by do not."""
    keys = []
    for name in ("a.journal", "b.journal"):
        with Journal.open(tmp_path / name) as journal:
            journal.commit([Step(reading(1), (text(),))])
            (due,) = journal.outbox.texts_open(T0 + 1)
            keys.append(due.key)
        with Journal.open(tmp_path / name) as journal:
            assert journal.outbox.texts_open(T0 + 1)[0].key == keys[-1]  # on every attempt
        assert due.key.endswith(due.id)
    assert keys[0] != keys[1]


def test_a_key_is_known_before_its_record_is_kept(tmp_path: Path) -> None:
    """What leaves while the disk takes no record carries the key that the record then has; where
    the record is never kept and another text is given the id, no gateway takes it for a repeat."""
    with Journal.open(tmp_path / "a.journal") as journal:
        key_of = journal.outbox.key_of()
        journal.commit([Step(reading(1), (text(time=5),))])
        (due,) = journal.outbox.texts_open(T0 + 9)
    assert due.key == key_of(text(time=5)) != key_of(text(time=6))
    assert text(time=5).id == text(time=6).id
