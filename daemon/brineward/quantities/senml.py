"""Unit names of SenML: exactly the registered ones, and nothing similar.

Sources: RFC 8428 section 12.1 (`%` is a ratio there: 0.5 % means 0.5, see its note), RFC 8798
sections 2 (kg/m3) and 3 (secondary units; percent is `/100`). Only names of quantities that a
depot has are here; mS/cm, degF, psi, gal, bar and kPa are not registered.
"""

from brineward.quantities.units import Unit

_REGISTERED: tuple[tuple[str, str, float, float], ...] = (
    # RFC 8428
    ("m", "length", 1.0, 0.0),
    ("kg", "mass", 1.0, 0.0),
    ("g", "mass", 1e-3, 0.0),
    ("s", "duration", 1.0, 0.0),
    ("A", "current", 1.0, 0.0),
    ("K", "temperature", 1.0, -273.15),
    ("Cel", "temperature", 1.0, 0.0),
    ("Pa", "pressure", 1.0, 0.0),
    ("W", "power", 1.0, 0.0),
    ("V", "voltage", 1.0, 0.0),
    ("m3", "volume", 1.0, 0.0),
    ("l", "volume", 1e-3, 0.0),
    ("m3/s", "flow", 1.0, 0.0),
    ("l/s", "flow", 1e-3, 0.0),
    ("S/m", "conductivity", 1.0, 0.0),
    ("/", "ratio", 1.0, 0.0),
    ("%", "ratio", 1.0, 0.0),
    # RFC 8798, new primary unit
    ("kg/m3", "density", 1.0, 0.0),
    # RFC 8798, secondary units
    ("ms", "duration", 1e-3, 0.0),
    ("min", "duration", 60.0, 0.0),
    ("h", "duration", 3600.0, 0.0),
    ("kW", "power", 1000.0, 0.0),
    ("mV", "voltage", 1e-3, 0.0),
    ("mA", "current", 1e-3, 0.0),
    ("ppm", "ratio", 1e-6, 0.0),
    ("/100", "ratio", 1e-2, 0.0),
    ("/1000", "ratio", 1e-3, 0.0),
    ("hPa", "pressure", 100.0, 0.0),
    ("mm", "length", 1e-3, 0.0),
    ("cm", "length", 1e-2, 0.0),
    ("km", "length", 1000.0, 0.0),
)

_BY_NAME = {
    name: Unit(name=name, quantity=quantity, factor=factor, offset=offset)
    for name, quantity, factor, offset in _REGISTERED
}


class UnregisteredUnit(ValueError):
    """A SenML record's unit that is not registered, or not of a depot; the device must act."""


def unit_from_senml(name: str) -> Unit:
    """The unit that a SenML record's `u` names; its name must be spelled as registered.

    Raises: UnregisteredUnit.
    Source: RFC 8428 section 12.1, RFC 8798 sections 2 and 3.
    """
    unit = _BY_NAME.get(name)
    if unit is None:
        raise UnregisteredUnit(
            f"{name!r} is not a SenML unit that is known here; expected one of"
            f" {', '.join(_BY_NAME)} (RFC 8428, RFC 8798)"
        )
    return unit
