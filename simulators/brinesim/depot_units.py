"""The units and the clock of a depot, as its watchman's config has them."""

import tomllib
from dataclasses import dataclass
from datetime import UTC, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from brinesim.scenario import ScenarioError

FOOT_M = 0.3048
GALLON_L = 3.785411784
"""Of the US; both exact by definition (NIST SP 811)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DepotUnits:
    """What levels, temperatures, flows and times are drawn in; without a config metric, and UTC."""

    us: bool = False
    zone: tzinfo = UTC
    zone_name: str = "UTC"

    @property
    def length(self) -> tuple[str, float]:
        """The unit of levels, and how many of it a metre is."""
        return ("ft", 1.0 / FOOT_M) if self.us else ("m", 1.0)

    @property
    def flow(self) -> tuple[str, float]:
        """The unit of flows, and how many of it a cubic metre a second is."""
        return ("gal/min", 60_000.0 / GALLON_L) if self.us else ("L/s", 1000.0)

    @property
    def temperature(self) -> tuple[str, float, float]:
        """The unit of temperatures, how many of it a kelvin is, and what 0 degC is in it."""
        return ("degF", 1.8, 32.0) if self.us else ("degC", 1.0, 0.0)


def depot_units(config: Path, depot: str) -> DepotUnits:
    """The units and the clock that a watchman's config gives a depot.

    Raises: ScenarioError where the file can't be read, or has no such depot or time zone.
    """
    try:
        table = tomllib.loads(config.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as wrong:
        raise ScenarioError(f"{config}: {wrong}") from wrong
    depots = table.get("depots")
    own = depots.get(depot) if isinstance(depots, dict) else None
    if not isinstance(depots, dict) or not isinstance(own, dict):
        known = ", ".join(depots) if isinstance(depots, dict) else ""
        raise ScenarioError(
            f"{config}: no depot {depot!r}, which the scenario plays; there are: {known or 'none'}"
        )
    name = own.get("time_zone", "UTC")
    try:
        zone = ZoneInfo(name)
    except (TypeError, ValueError, OSError, LookupError) as wrong:
        raise ScenarioError(
            f"{config}: depots.{depot}.time_zone is {name!r}, which is no time zone; expected a"
            ' name such as "America/Chicago"'
        ) from wrong
    return DepotUnits(us=own.get("units") == "us", zone=zone, zone_name=name)
