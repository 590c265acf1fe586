"""The balance: what adds up, what does not, and what was entered."""

import math
from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.records.balance import Delivery, Figure, balance_of
from journal.samples import T0, asked, derived, episode, plain, reading

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
PLAN = load_settings(CONFIG).depots["tern-hollow"]
END = T0 + 10 * HOUR
KNOWN = {"low_95": 0.22, "high_95": 0.24, "mass_fraction": 0.23, "amount_uncertainty_m3": 0.02}


def _other(at: int) -> Reading:
    """A reading of a sensor that no balance asks."""
    return reading(at, 0.0, sensor="outdoor-temperature")


@pytest.fixture
def journal(tmp_path: Path):
    """A tank at 2.00 m before and 1.90 m after, a bed of salt that was filled by half a metre."""
    with Journal.open(tmp_path / "a.journal") as opened:
        times = range(0, 10 * HOUR + 1, 2 * MINUTE)
        opened.commit(plain(*(reading(at, 2.0 if at < 5 * HOUR else 1.9) for at in times)))
        opened.commit(plain(*(reading(at, 9.0, sensor="main-temperature") for at in times)))
        beds = [1.0 if at < 5 * HOUR else 1.5 for at in times]
        salt = zip(times, beds, strict=True)
        opened.commit(plain(*(reading(at, bed, sensor="hopper-salt") for at, bed in salt)))
        strengths = [(_other(at), (derived(at, 0.23, name="main-strength"),)) for at in times]
        opened.commit([Step(*one) for one in strengths])
        yield opened


def kept(journal: Journal, **figures: object) -> None:
    """An episode with its figures."""
    at = int(str(figures["began"]))
    journal.commit([Step(_other(at - T0 + 3), (episode(at - T0, **figures),))])


def load(number: int, volume: float, salt: float, **more: object) -> dict[str, object]:
    """The figures of a load in a given hour."""
    began = T0 + number * HOUR
    figures = {"episode": "load", "source": "pump", "began": began, "ended": began + 9 * MINUTE}
    return figures | {"amount_m3": volume, "salt_kg": salt} | KNOWN | more


def test_what_was_loaded_and_what_the_tank_lost_close(journal: Journal) -> None:
    """The tank fell by 0.45 m3 and a load took it: nothing is open beyond its uncertainty."""
    lost_m3 = 0.1 * math.pi * 2.4**2 / 4
    kept(journal, **load(5, lost_m3, lost_m3 * 1174 * 0.23))
    found = balance_of(asked(journal), PLAN, T0, END)
    assert (found.loads, found.batches) == (1, 0)
    assert found.loaded_m3.amount == pytest.approx(lost_m3)
    assert found.tanks_open is not None
    assert abs(found.tanks_open.amount) < 3.0
    assert 3.0 < found.tanks_open.standard_uncertainty < 15.0


def test_brine_that_nobody_loaded_is_open(journal: Journal) -> None:
    """The same fall without a load: the tanks don't close by its salt."""
    found = balance_of(asked(journal), PLAN, T0, END)
    assert found.tanks_open is not None
    assert found.tanks_open.amount == pytest.approx(0.4524 * 1174 * 0.23, rel=0.02)


def test_a_load_under_way_is_in_no_figure(journal: Journal) -> None:
    """It is said, and not counted."""
    kept(journal, **load(9, 1.0, 270.0, ended=None))
    found = balance_of(asked(journal), PLAN, T0, END)
    assert found.under_way
    assert found.loads == 0
    assert not balance_of(asked(journal), PLAN, T0, T0 + 9 * HOUR).under_way


def test_what_was_delivered_is_by_the_bed_or_as_entered(journal: Journal) -> None:
    """Half a metre of a bed two metres wide; what people enter takes its place."""
    by_bed = balance_of(asked(journal), PLAN, T0, END)
    assert by_bed.delivered_how == "by the height of the bed"
    assert by_bed.salt_delivered is not None
    assert by_bed.salt_delivered.amount == pytest.approx(0.5 * math.pi * 1200, rel=0.01)
    entered = [Delivery(T0 + HOUR, 2000.0, 20.0), Delivery(END + 1, 9000.0, 90.0)]
    found = balance_of(asked(journal), PLAN, T0, END, entered)
    assert found.delivered_how == "as entered"
    assert found.salt_delivered == Figure(2000.0, 20.0)
    assert found.hopper_open is not None
    assert found.hopper_open.amount == pytest.approx(2000.0 - 0.5 * math.pi * 1200, rel=0.05)
