"""What the config says of texting people: how many an hour, in whose units."""

from pathlib import Path

from brineward.config.load import load_settings

EVERY_FEATURE = Path(__file__).parents[1] / "configs" / "good" / "every-feature.toml"


def test_texts_an_hour_and_units_of_a_person_are_read() -> None:
    """Each depot has its caps, 12 an hour and 2 a minute where it names none; whoever names units
    reads those."""
    depots = load_settings(EVERY_FEATURE).depots
    hollow, ridge = depots["tern-hollow"], depots["kettle-ridge"]
    assert (hollow.duty.most_texts_an_hour, ridge.duty.most_texts_an_hour) == (5, 12)
    assert (hollow.duty.most_texts_a_minute, ridge.duty.most_texts_a_minute) == (1, 2)
    assert hollow.duty.us_units == {"desk": False}
    assert [hollow.as_read_by(one).us_units for one in ("yard", "desk")] == [True, False]
    assert not ridge.as_read_by("yard").us_units
