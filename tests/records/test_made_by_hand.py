"""What people enter of batches, beside what the sensors saw of them."""

from dataclasses import replace

from brineward.journal import Journal
from brineward.readings.by_hand import BatchJudged, BlendSettings, ByHand, SaltDelivered
from brineward.readings.entries import HandRecord, HandTest, Tick
from brineward.readings.outputs import EpisodeChanged, Step
from brineward.records import Batch
from brineward.records.balance import deliveries_of
from brineward.records.settings_used import settings_used
from journal.samples import T0, asked

HOUR = 3_600_000


def batch(began: float, ended: float | None, strength: float = 0.232) -> Step:
    """A batch of the main tank, in hours after T0."""
    end = None if ended is None else T0 + round(ended * HOUR)
    return Step(
        Tick(time=end or T0 + round(began * HOUR)),
        (
            EpisodeChanged(
                time=end or T0 + round(began * HOUR),
                depot="tern-hollow",
                episode="batch",
                source="main",
                began=T0 + round(began * HOUR),
                ended=end,
                amount_m3=4.0,
                mass_fraction=strength,
                low_95=strength - 0.004,
                high_95=strength + 0.004,
            ),
        ),
    )


def said(at: float, record: ByHand, corrects: int = 0) -> Step:
    """A record by hand of so many hours after T0."""
    time = T0 + round(at * HOUR)
    entry = HandRecord(
        depot="tern-hollow", time=time, received=time, at=time, record=record, by="yard",
        corrects=corrects, why="slip" if corrects else "",
    )  # fmt: skip
    return Step(entry, ())


def marks(**values: float) -> BlendSettings:
    """Valve marks of the main tank."""
    return BlendSettings(vessel="main", marks=tuple(sorted(values.items())))


def judged(accepted: bool) -> BatchJudged:
    """A verdict on the main tank's newest batch."""
    return BatchJudged(vessel="main", accepted=accepted)


def batches_of(tmp_path, *steps: Step) -> list[Batch]:
    """The batches that a journal with these steps tells of."""
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit(list(steps))
        return asked(journal).made.batches("tern-hollow")


def test_a_verdict_is_on_the_batch_that_ended_last(tmp_path):
    """Said after the first has ended and while the second is made: it is the first's; said before
    any has ended: nobody's; the last word counts, and a corrected one does not."""
    found = batches_of(
        tmp_path,
        said(0.5, judged(False)),
        batch(0.2, 1),
        said(2, judged(False)),
        said(2.5, judged(True)),
        batch(2.2, 3),
        said(4, judged(True)),
        said(4, judged(False), corrects=4),
        batch(5, 6),
    )
    assert [one.by_hand.accepted for one in found] == [True, False, None]


def test_marks_are_of_the_batch_that_they_were_entered_with(tmp_path):
    """During it, or after it and before the next begins."""
    found = batches_of(
        tmp_path,
        said(0.1, marks(feed=9)),
        batch(0.2, 1),
        said(1.5, marks(feed=3, bypass=2)),
        batch(2, 3),
        said(2.5, marks(feed=4)),
        batch(5, 6),
    )
    assert [one.by_hand.settings for one in found] == [
        {"bypass": 2.0, "feed": 3.0},
        {"feed": 4.0},
        None,
    ]


def test_the_best_settings_come_first(tmp_path):
    """Nearest to the target on average; those that were rejected come last, however near."""
    found = batches_of(
        tmp_path,
        batch(0, 1, 0.240), said(1.1, marks(feed=3)),
        batch(2, 3, 0.230), said(3.1, marks(feed=4)),
        batch(4, 5, 0.236), said(5.1, marks(feed=4)),
        batch(6, 7, 0.233), said(7.1, marks(feed=5)), said(7.2, judged(False)),
        batch(8, 9, 0.233),
    )  # fmt: skip
    used = settings_used(found, 0.233)
    assert [dict(one.marks) for one in used] == [{"feed": 4.0}, {"feed": 3.0}, {"feed": 5.0}]
    best = used[0]
    assert best.batches == [2, 3]
    assert abs(best.mass_fraction - 0.233) < 1e-9
    low, high = best.interval_95
    # two batches 0.3 % by mass apart on either side, each known to 0.2: sqrt(0.2^2 + 0.3^2)
    assert abs((high - low) / 4 - (0.002**2 + 0.003**2) ** 0.5) < 1e-4


def test_a_tested_batch_counts_by_its_test(tmp_path):
    """A hydrometer is asked rather than the probe."""
    (made,) = batches_of(tmp_path, batch(0, 1, 0.220), said(1.1, marks(feed=3)))
    test = HandTest(
        depot="tern-hollow", time=T0, received=T0, vessel="main", at=T0,
        mass_fraction=0.233, standard_uncertainty=0.00125,
    )  # fmt: skip
    (used,) = settings_used([replace(made, tested=test)], 0.233)
    assert used.mass_fraction == 0.233


def test_deliveries_that_were_entered_are_in_the_balance(tmp_path):
    """Those of the time asked for, and none that was struck or corrected."""
    with Journal.open(tmp_path / "a.journal") as journal:
        steps = [
            said(1, SaltDelivered(mass_kg=1000.0)),
            said(2, SaltDelivered(mass_kg=500.0)),
            said(2, SaltDelivered(mass_kg=700.0), corrects=2),
            said(30, SaltDelivered(mass_kg=9.0)),
        ]
        journal.commit(steps)
        found = deliveries_of(asked(journal), "tern-hollow", T0, T0 + 24 * HOUR)
    assert [one.salt_kg for one in found] == [1000.0, 700.0]
