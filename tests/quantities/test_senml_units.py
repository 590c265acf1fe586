"""SenML's own unit names."""

import pytest

from brineward.quantities import UnregisteredUnit, unit_from_senml, unit_named

# Scale of each name as registered: RFC 8428 section 12.1, RFC 8798 sections 2 and 3.
REGISTERED = [
    ("Cel", "temperature", 20.0, 20.0),
    ("K", "temperature", 293.15, 20.0),
    ("S/m", "conductivity", 17.2, 17.2),
    ("Pa", "pressure", 5.0, 5.0),
    ("hPa", "pressure", 5.0, 500.0),
    ("m", "length", 2.4, 2.4),
    ("cm", "length", 240.0, 2.4),
    ("mm", "length", 2400.0, 2.4),
    ("m3", "volume", 2.0, 2.0),
    ("l", "volume", 2000.0, 2.0),
    ("m3/s", "flow", 0.001, 0.001),
    ("l/s", "flow", 1.0, 0.001),
    ("kg/m3", "density", 1176.0, 1176.0),
    ("/", "ratio", 0.233, 0.233),
    ("%", "ratio", 0.233, 0.233),
    ("/100", "ratio", 23.3, 0.233),
    ("mA", "current", 4.0, 0.004),
    ("kW", "power", 1.5, 1500.0),
    ("min", "duration", 2.0, 120.0),
    ("h", "duration", 2.0, 7200.0),
]


@pytest.mark.parametrize(("name", "quantity", "number", "value"), REGISTERED)
def test_a_registered_name_means_what_the_registry_says(
    name: str, quantity: str, number: float, value: float
) -> None:
    """Each name scales as the RFCs say."""
    unit = unit_from_senml(name)
    assert unit.quantity == quantity
    assert unit.to_si(number) == pytest.approx(value)


@pytest.mark.parametrize(
    "name", ["mS/cm", "uS/cm", "degC", "C", "degF", "psi", "gal", "bar", "kPa", "L", "cel", ""]
)
def test_a_name_that_is_not_registered_is_refused(name: str) -> None:
    """A device that makes up a unit is told so, even where people would understand it."""
    with pytest.raises(UnregisteredUnit, match="not a SenML unit"):
        unit_from_senml(name)


def test_percent_means_two_things_and_each_function_keeps_to_its_own() -> None:
    """23.3 % by hand is 0.233; SenML's `%` is already a ratio (RFC 8428, note to section 12.1)."""
    assert unit_named("%").to_si(23.3) == pytest.approx(0.233)
    assert unit_from_senml("%").to_si(0.233) == 0.233
