"""Every number of the simulator says where it comes from."""

import tomllib
from importlib.resources import files

from brinesim.scenario import load_scenario
from brinesim.sources import BASES, as_markdown, origins


def test_every_parameter_has_a_basis_and_a_reason() -> None:
    """Each parameter of plant, weather, people and sensors is listed, with a known basis."""
    found = origins()
    assert len(found) > 150
    for origin in found:
        assert origin.basis in BASES, origin
        assert origin.why.strip(), origin
    depot = {o.parameter for o in found if o.parameter.startswith("depot.")}
    assert len(depot) == len(type(load_scenario("tern-hollow").depot).model_fields)


def test_no_entry_is_about_nothing() -> None:
    """What sources.toml speaks of exists: no entry outlives its parameter."""
    said = tomllib.loads((files("brinesim") / "sources.toml").read_text(encoding="utf-8"))
    scenario = load_scenario("tern-hollow")
    for part in ("depot", "weather", "people", "delivery"):
        assert set(said[part]) == set(type(getattr(scenario, part)).model_fields)
    fields = set(type(scenario.sensors["main-level"]).model_fields)
    for sensor, entries in said["sensors"].items():
        assert sensor == "*" or sensor in scenario.sensors
        assert set(entries) <= fields


def test_a_published_value_names_its_source() -> None:
    """Who claims a publication says which."""
    for origin in origins():
        if origin.basis == "published value":
            assert any(
                name in origin.why
                for name in ("CRC", "IEC", "Climatography", "same place", "Rice Lake")
            ), origin


def test_the_table_has_a_row_for_each() -> None:
    """`brinesim sources` prints one row a parameter under its heading."""
    found = origins()
    assert len(as_markdown(found).splitlines()) == len(found) + 2
