"""What the decoder's tests are built with: sensors of a depot that is made up."""

from typing import Any, Literal

from brineward.config.settings import PayloadSettings, SensorSource
from brineward.plant.plan import Measure
from brineward.quantities import unit_named
from brineward.quantities.units import Unit

ARRIVED = 1_767_225_600_000  # 2026-01-01T00:00:00Z
PLAIN = Unit(name="1", quantity="ratio")


def source(
    sensor: str = "main-level",
    *,
    kind: Literal["any", "number", "json", "senml"] = "number",
    measures: Measure = Measure.LEVEL,
    unit: str = "m",
    topic: str | None = None,
    inverted: bool = False,
    scale: float = 1.0,
    **payload: Any,
) -> SensorSource:
    """One sensor of Tern Hollow, on a topic of its own unless it is told one."""
    return SensorSource(
        depot="tern-hollow",
        sensor=sensor,
        measures=measures,
        topic=topic or f"brine/tern-hollow/{sensor}",
        unit=PLAIN if measures.is_switch else unit_named(unit),
        inverted=inverted,
        scale=scale,
        payload=PayloadSettings(kind=kind, **payload),
    )
