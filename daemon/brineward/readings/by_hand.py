"""What people enter by hand about a depot's work: loads, deliveries, batches, settings, upkeep.

Each names its own kind, by which it is stored and queried. A hydrometer test is an entry of its own
(`HandTest`), since the engine learns from it.
"""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadTaken:
    """A truck or a storage tank was loaded, as its own meter or the driver says."""

    vessel: str
    """What it was drawn from."""
    volume_m3: float
    truck: str = ""
    driver: str = ""
    destination: str = ""
    kind: Literal["load"] = "load"


@dataclass(frozen=True, slots=True, kw_only=True)
class SaltDelivered:
    """Salt was put into the hopper, or onto its pile."""

    mass_kg: float
    kind: Literal["salt"] = "salt"


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterMeterRead:
    """The fresh water's meter, read off: what has run through it since it was new."""

    volume_m3: float
    kind: Literal["water meter"] = "water meter"


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchJudged:
    """Somebody has accepted a batch, or not: the newest of the vessel."""

    vessel: str
    accepted: bool
    note: str = ""
    kind: Literal["batch"] = "batch"


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendSettings:
    """The marks at which the blend valves were set for a batch, by the names that people use."""

    vessel: str
    marks: tuple[tuple[str, float], ...]
    """In the order of their names."""
    kind: Literal["settings"] = "settings"


@dataclass(frozen=True, slots=True, kw_only=True)
class Upkeep:
    """Something was inspected, cleaned or calibrated."""

    kind: Literal["inspection", "cleaning", "calibration"]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Anything else that somebody wants to be remembered."""

    note: str
    kind: Literal["remark"] = "remark"


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """An earlier record was wrong, and nothing takes its place."""

    kind: Literal["struck"] = "struck"


ByHand = (
    LoadTaken
    | SaltDelivered
    | WaterMeterRead
    | BatchJudged
    | BlendSettings
    | Upkeep
    | Remark
    | Struck
)
"""What one record says."""
