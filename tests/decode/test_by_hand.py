"""A record in one line: what is understood, in which units, and what is refused in a sentence."""

from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from brineward.config.load import load_settings
from brineward.decode.by_hand import LONGEST, RefusedRecord, record_from_words
from brineward.readings.by_hand import (
    BatchJudged,
    BlendSettings,
    LoadTaken,
    Remark,
    SaltDelivered,
    Upkeep,
    WaterMeterRead,
)
from checkout import ROOT

PLAN = load_settings(ROOT / "config" / "tern-hollow.toml").depots["tern-hollow"]
METRIC = replace(PLAN, us_units=False)
# NIST Handbook 44, appendix C: a US gallon is 231 cubic inches, a short ton 2,000 lb,
# a pound 0.453 592 37 kg, an inch 25.4 mm exactly.
GALLON = 231 * 0.0254**3
SHORT_TON = 2000 * 0.45359237


@pytest.mark.parametrize(
    ("words", "record"),
    [
        ("load 1200 gal truck 7 driver Sam B to Route 9", LoadTaken(
            vessel="main", volume_m3=1200 * GALLON, truck="7", driver="Sam B",
            destination="Route 9")),
        ("LOAD 1,300 truck 7", LoadTaken(vessel="main", volume_m3=1300 * GALLON, truck="7")),
        ("loaded 4.5 m3 from main", LoadTaken(vessel="main", volume_m3=4.5)),
        ("load 12 gal truck 7", LoadTaken(vessel="main", volume_m3=12 * GALLON, truck="7")),
        ("salt 20 tons", SaltDelivered(mass_kg=20 * SHORT_TON)),
        ("load 1,250 gal", LoadTaken(vessel="main", volume_m3=1250 * GALLON)),
        ("salt 15,000.5 kg", SaltDelivered(mass_kg=15000.5)),
        ("water 1,234,567 gal", WaterMeterRead(volume_m3=1234567 * GALLON)),
        ("salt 18 t", SaltDelivered(mass_kg=18000.0)),
        ("salt: 500 lb", SaltDelivered(mass_kg=500 * 0.45359237)),
        ("water 123,456", WaterMeterRead(volume_m3=123456 * GALLON)),
        ("water meter 467.3 m3", WaterMeterRead(volume_m3=467.3)),
        ("accepted", BatchJudged(vessel="main", accepted=True)),
        ("Rejected main: cloudy", BatchJudged(vessel="main", accepted=False, note="cloudy")),
        ("settings feed=3.5 bypass 2", BlendSettings(
            vessel="main", marks=(("bypass", 2.0), ("feed", 3.5)))),
        ("settings main Feed = 3,  valve-2=-1.25", BlendSettings(
            vessel="main", marks=(("feed", 3.0), ("valve-2", -1.25)))),
        ("inspected hose valve", Upkeep(kind="inspection", note="hose valve")),
        ("cleaned: the probe", Upkeep(kind="cleaning", note="the probe")),
        ("remark hose  replaced", Remark(note="hose replaced")),
    ],
)  # fmt: skip
def test_a_line_as_a_crew_writes_it(words, record):
    """The depot's own units where none is written; capitals and spaces don't matter."""
    found = record_from_words(words, PLAN)
    for name in type(record).__slots__:
        wanted = getattr(record, name)
        if isinstance(wanted, float):
            wanted = pytest.approx(wanted, rel=1e-12)
        assert getattr(found, name) == wanted


def test_a_metric_depot_counts_in_its_own_units():
    """Litres and tonnes where no unit is written."""
    assert record_from_words("load 4500", METRIC).volume_m3 == pytest.approx(4.5)
    assert record_from_words("salt 20 tons", METRIC).mass_kg == pytest.approx(20000.0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("load 12 truck 7", "12 gal is a small load; write '12 gal' with its unit"),
        ("load", "it says no number"),
        ("load 0 gal", "is not a load"),
        ("load 900000 gal", "is not a load"),
        ("load 1200 lb", "is no volume"),
        ("salt 7,5 t", "'7,5' has a comma out of place (a point for decimals"),
        ("load 3,5 m3", "'3,5' has a comma out of place"),
        ("load 1,25 m3 truck 7", "'1,25' has a comma out of place"),
        ("salt 0,125 t", "'0,125' has a comma out of place"),
        ("water 1234,567 gal", "'1234,567' has a comma out of place"),
        ("water 12,34,567 gal", "'12,34,567' has a comma out of place"),
        ("salt 7, t", "'7,' has a comma out of place"),
        ("salt " + "1," * 140, "has a comma out of place"),
        ("load 1200 gal 7", "'7' is not understood"),
        ("load 1200 gal truck", "nothing follows 'truck'"),
        ("load 1200 gal from hopper", "is not a tank here; expected one of: main"),
        ("salt 20 gal", "is no mass"),
        ("salt 2000000 kg", "is no delivery"),
        ("salt 20 tons on Monday", "is not understood"),
        ("settings", "is not a mark"),
        ("settings feed=3 feed=4", "has two marks"),
        ("settings feed=3 and so on", "is not a mark"),
        ("remark", "nothing is given"),
        ("sat 20 tons", "'sat' begins no record"),
        ("", "nothing is said; expected load, salt,"),
        ("remark " + "x" * LONGEST, "one line of 300 characters"),
        ("remark a\x07b", "one line"),
    ],
)
def test_what_is_not_understood_is_asked_back(words, said):
    """What was wrong, and an example of what is right."""
    with pytest.raises(RefusedRecord, match=None) as refused:
        record_from_words(words, PLAN)
    assert said in str(refused.value)


FIRST = st.sampled_from(["load", "salt", "water", "settings", "accepted", "remark", "cleaned", ""])


@given(FIRST, st.text(max_size=60))
@example("load", "1" * 5000 + " gal")
@example("settings", "a=" + "9" * 400)
@example("load", "٣ gal")
@example("salt", "1e308 kg")
def test_nothing_that_somebody_types_is_a_traceback(first, rest):
    """A record or a sentence, whatever is typed."""
    try:
        record_from_words(f"{first} {rest}", PLAN)
    except RefusedRecord as why:
        sentence = str(why)
    else:
        sentence = ""
    assert len(sentence) < 300
