"""Quantities at the edge: from text such as "172 mS/cm" to SI and back. Imports nothing of ours."""

from brineward.quantities.catalogue import EXAMPLES, UnknownUnit, spellings, unit_named
from brineward.quantities.senml import UnregisteredUnit, unit_from_senml
from brineward.quantities.units import Unit
from brineward.quantities.written import (
    UnreadableQuantity,
    format_quantity,
    parse_difference,
    parse_number,
    parse_quantity,
    unit_written,
)

__all__ = [
    "EXAMPLES",
    "Unit",
    "UnknownUnit",
    "UnreadableQuantity",
    "UnregisteredUnit",
    "format_quantity",
    "parse_difference",
    "parse_number",
    "parse_quantity",
    "spellings",
    "unit_from_senml",
    "unit_named",
    "unit_written",
]
