"""Every number of the simulator says where it comes from."""

import tomllib
from importlib.resources import files
from pathlib import Path

from brinesim.scenario import load_scenario, roughened
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


def test_the_document_is_what_the_command_prints() -> None:
    """The document holds the table as it is now, so that no number changes unseen."""
    document = Path(__file__).parents[2] / "simulators" / "docs" / "origins.md"
    assert as_markdown(origins()) in document.read_text(encoding="utf-8")


def test_rough_doubles_what_people_and_the_line_do_wrong() -> None:
    """Errors of tests, slips, delays, repeats and losses are doubled; no share passes 1."""
    scenario = load_scenario("bad-line", {"rough": 2.0})
    rough = roughened(scenario)
    assert rough.people.test_error_sg == 2 * scenario.people.test_error_sg
    assert rough.people.test_error_c == 2 * scenario.people.test_error_c
    assert rough.people.valve_late_share == 2 * scenario.people.valve_late_share
    assert rough.salt_factor_sd == 2 * scenario.salt_factor_sd
    for ailment in (
        "latency",
        "latency_sd",
        "late_by",
        "duplicate_share",
        "late_share",
        "lost_share",
    ):
        wrong = getattr(scenario.delivery, ailment)
        assert getattr(rough.delivery, ailment) == 2 * wrong > 0
    assert rough.people.loads_per_day == scenario.people.loads_per_day
    lost = load_scenario("bad-line", {"rough": 2.0, "delivery": {"lost_share": 0.7}})
    assert roughened(lost).delivery.lost_share == 1.0
    assert roughened(load_scenario("bad-line")) == load_scenario("bad-line")
