"""What was delivered, by the height of the bed: a rise that lasts, and no wrong echo."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.plant.hopper_salt import BULK_DENSITY
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import Step
from brineward.records.balance import Balance, balance_of
from brineward.records.beds import Rise, rises
from brineward.records.buckets import Bucket
from checkout import ROOT
from journal.samples import T0, asked, episode, plain, reading

PLAN = load_settings(ROOT / "config" / "tern-hollow.toml").depots["tern-hollow"]
METRE_KG = math.pi * BULK_DENSITY
"""Of salt in a metre of a bed two metres wide."""
DAY_MINUTES = 24 * 60


def balance(
    folder: Path, bed_m: Callable[[int], float], start: int = 0, end: int = DAY_MINUTES
) -> Balance:
    """Of a day whose bed is so high at each of its minutes, between two of them."""
    with Journal.open(folder / "a.journal") as journal:
        salt = [reading(at * MINUTE, bed_m(at), sensor="hopper-salt") for at in range(DAY_MINUTES)]
        journal.commit(plain(*salt))
        return balance_of(asked(journal), PLAN, T0 + start * MINUTE, T0 + end * MINUTE)


def delivered(found: Balance) -> float:
    """The salt in m of bed."""
    assert found.delivered_how == "by the height of the bed"
    assert found.salt_delivered is not None
    return found.salt_delivered.amount / METRE_KG


@pytest.mark.parametrize("wrong", [99.99, -5.0])
def test_a_reading_out_of_its_range_delivers_nothing(tmp_path: Path, wrong: float) -> None:
    """A bed of 1.5 m, and one value that the watch itself doesn't believe."""
    assert delivered(balance(tmp_path, lambda at: wrong if at == 700 else 1.5)) == 0.0


@pytest.mark.parametrize("began", [690, 694, 699, 1400])
@pytest.mark.parametrize("wrong", [0.6, 1.95])
def test_a_wrong_echo_for_a_while_delivers_nothing(
    tmp_path: Path, began: int, wrong: float
) -> None:
    """Twenty minutes of it, within the range, wherever they fall, at the end of the day too."""
    found = balance(tmp_path, lambda at: wrong if began <= at < began + 20 else 1.5)
    assert delivered(found) == 0.0


def test_a_delivery_in_the_midst_of_wrong_echoes_has_its_size(tmp_path: Path) -> None:
    """Half a metre tipped in within a quarter of an hour, a wrong echo before and after it."""

    def bed_m(at: int) -> float:
        if 600 <= at < 615 or 800 <= at < 815:
            return 0.3
        return 1.0 + 0.5 * min(1.0, max(0.0, (at - 700) / 15))

    assert delivered(balance(tmp_path, bed_m)) == pytest.approx(0.5, abs=0.001)


@pytest.mark.parametrize("edge", [660, 715, 725, 780])
def test_a_delivery_at_the_edge_of_a_period_counts_in_one_of_two(tmp_path: Path, edge: int) -> None:
    """Two periods that meet within an hour of it: one has all of it, the other nothing."""

    def bed_m(at: int) -> float:
        return 1.0 if at < 720 else 1.5

    first = delivered(balance(tmp_path, bed_m, end=edge))
    with Journal.open(tmp_path / "a.journal") as journal:
        again = balance_of(asked(journal), PLAN, T0 + edge * MINUTE, T0 + 24 * HOUR)
    assert sorted((first, delivered(again))) == pytest.approx([0.0, 0.5])


def test_what_is_dissolved_while_it_is_tipped_in_was_delivered_too(tmp_path: Path) -> None:
    """A batch draws 3 cm an hour from the bed all day: half a metre was delivered, not less."""
    used_m = 0.03 * 24
    figures = {"episode": "batch", "ended": T0 + 24 * HOUR - 1, "salt_kg": used_m * METRE_KG}
    with Journal.open(tmp_path / "a.journal") as journal:
        made = replace(episode(), **figures)
        journal.commit([Step(reading(-MINUTE, 0.0, sensor="outdoor-temperature"), (made,))])
    found = balance(
        tmp_path, lambda at: 1.0 - used_m * at / DAY_MINUTES + (0.5 if at >= 720 else 0.0)
    )
    assert delivered(found) == pytest.approx(0.5, abs=0.002)


def test_what_was_tipped_in_just_now_is_said_not_to_be_in_it_yet(tmp_path: Path) -> None:
    """A rise must last: what came until 40 minutes before the last reading is in it, and it says
    so; of a day that is long over nothing is missing."""

    def bed_m(at: int) -> float:
        return 1.0 if at < DAY_MINUTES - 25 else 1.5

    now = balance(tmp_path, bed_m)
    assert delivered(now) == 0.0
    assert now.delivered_until == T0 + (DAY_MINUTES - 40) * MINUTE
    with Journal.open(tmp_path / "a.journal") as journal:
        just_seen = [
            reading((DAY_MINUTES + at) * MINUTE, 1.5, sensor="hopper-salt") for at in range(60)
        ]
        journal.commit(plain(*just_seen))
        later = balance_of(asked(journal), PLAN, T0, T0 + DAY_MINUTES * MINUTE)
    assert delivered(later) == pytest.approx(0.5, abs=0.001)
    assert later.delivered_until is None


def test_a_bed_of_which_nothing_was_heard_is_not_known(tmp_path: Path) -> None:
    """Not the same as nothing delivered."""
    found = balance(tmp_path, lambda at: 99.99)
    assert (found.salt_delivered, found.delivered_how) == (None, "not known")
    assert found.hopper_open is None


def stretches(*heights: float) -> list[Bucket]:
    """One every ten minutes."""
    return [
        Bucket(time=place * 10 * MINUTE, count=1, low=height, mean=height, high=height)
        for place, height in enumerate(heights)
    ]


def test_fillings_are_told_apart_and_none_counts_twice() -> None:
    """Two within an hour are one; the next, three hours later, is another; a long one is whole."""
    found = list(rises(stretches(*[0.5] * 8, *[0.8] * 3, *[1.1] * 18, *[1.4] * 9)))
    assert [(one.low_m, one.high_m) for one in found] == [(0.5, 1.1), (1.1, 1.4)]
    slow = list(rises(stretches(*[0.2] * 8, *(0.2 + 0.05 * k for k in range(1, 21)), *[1.2] * 8)))
    assert sum(one.high_m - one.low_m for one in slow) == pytest.approx(1.0)


def test_less_than_a_filling_is_noise_and_too_little_shows_nothing() -> None:
    """9 cm, and half an hour of readings."""
    assert list(rises(stretches(*[0.5] * 8, *[0.59] * 8))) == []
    assert list(rises(stretches(0.5, 0.5, 1.5))) == []
    assert list(rises([])) == []


def test_a_rise_says_between_when_the_bed_changed_so() -> None:
    """From half a median's stretches before it to as many after it."""
    (found,) = rises(stretches(*[0.5] * 8, *[1.0] * 8))
    assert found == Rise(
        at=8 * 10 * MINUTE, low_m=0.5, high_m=1.0, began=4 * 10 * MINUTE, ended=11 * 10 * MINUTE
    )
