"""The watchman's own house: link, clock, texts, disk. Judged from what the engine was told."""

from dataclasses import dataclass

from brineward.alarms.condition import Verdict
from brineward.plant.state import PlantState
from brineward.readings.instants import Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A condition that somebody else judges and the engine is told of."""

    alarm: str
    source: str

    @property
    def watches(self) -> tuple[str, ...]:
        """None: it is judged when the engine is told."""
        return ()

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """What was told last."""
        sentence = plant.told.get(f"{self.alarm}/{self.source}", "")
        return Verdict(bool(sentence), None, None, "", {"told": sentence})
