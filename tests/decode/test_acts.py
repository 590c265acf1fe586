"""Acts as a file of a recorded run has them: read as what a person did, or refused in words."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.decode.acts import RefusedAct, act_from_fields
from brineward.readings.by_hand import BlendSettings, LoadTaken, SaltDelivered, Upkeep
from brineward.readings.entries import HandRecord


def recorded(**fields: object) -> HandRecord:
    """A record by hand, read from an act's fields."""
    act = act_from_fields("record", fields, depot="tern-hollow", time=1_000)
    assert isinstance(act, HandRecord)
    return act


def test_a_record_is_read_with_who_and_what_it_corrects():
    """Each kind comes back as entered; the act's own fields are kept apart from the record's."""
    load = recorded(
        kind="load", vessel="main", volume_m3=1.5, truck="7", by="yard", corrects=2, why="typo"
    )
    assert load.record == LoadTaken(vessel="main", volume_m3=1.5, truck="7")
    assert (load.by, load.corrects, load.why, load.at) == ("yard", 2, "typo", 1_000)
    assert recorded(kind="salt", mass_kg=900).record == SaltDelivered(mass_kg=900.0)
    assert recorded(kind="cleaning", note="hopper").record == Upkeep(kind="cleaning", note="hopper")


def test_marks_of_the_blend_valves_come_by_their_names():
    """`mark.NAME` is a valve's mark, in the order of the names."""
    fields = {"kind": "settings", "vessel": "main", "mark.water": 4.5, "mark.brine": 2}
    assert recorded(**fields).record == BlendSettings(
        vessel="main", marks=(("brine", 2.0), ("water", 4.5))
    )


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"kind": "lod", "vessel": "main"}, "record: .*'lod'"),
        ({"kind": "load", "vessel": "main"}, "load.volume_m3: field required"),
        ({"kind": "load", "vessel": "main", "volume_m3": -1}, "below nothing"),
        ({"kind": "salt", "mass_kg": float("nan")}, "below nothing"),
        (
            {"kind": "settings", "vessel": "main", "mark.water": float("inf")},
            "mark is not a number",
        ),
        ({"kind": "remark", "note": "x", "corrects": -1}, "corrects"),
    ],
)
def test_what_is_no_record_is_refused_with_what_is_wrong(fields, said):
    """A misspelt kind, a missing or impossible amount: refused, and the sentence names it."""
    with pytest.raises(RefusedAct, match=said):
        recorded(**fields)


@given(
    st.dictionaries(
        st.sampled_from(
            ["kind", "vessel", "volume_m3", "mass_kg", "note", "mark.a", "marks", "by"]
        ),
        st.none() | st.booleans() | st.floats() | st.text(max_size=5) | st.lists(st.integers()),
    )
)
def test_whatever_a_file_says_it_is_a_record_or_refused(fields):
    """No field of any type ends in anything but a record or a sentence."""
    with suppress(RefusedAct):
        assert recorded(**fields).record.kind == fields.get("kind", "")
