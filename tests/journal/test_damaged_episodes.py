"""A damaged journal's episodes come through with their figures."""

from brineward.journal import Journal, open_or_salvage
from brineward.readings.outputs import EpisodeChanged, Step
from journal.samples import T0, asked, reading
from journal.test_damage import NOW, with_sql


def test_what_was_known_of_a_load_is_known_after_a_salvage(tmp_path):
    """Volume, strength and how: not only from when to when."""
    path = tmp_path / "a.journal"
    load = EpisodeChanged(
        time=T0 + 60_000, depot="tern-hollow", episode="load", source="pump", began=T0,
        ended=T0 + 60_000, amount_m3=2.5, amount_uncertainty_m3=0.01, mass_fraction=0.233,
        low_95=0.229, high_95=0.237, temperature_c=5.0, salt_kg=680.0, how="by meter and level",
    )  # fmt: skip
    with Journal.open(path) as journal:
        journal.commit([Step(reading(0), (load,))])
        (before,) = asked(journal).made.loads("tern-hollow")
    with_sql(path, "PRAGMA user_version = 0")
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is not None
        assert asked(journal).made.loads("tern-hollow") == [before]
    assert before.how == "by meter and level"
