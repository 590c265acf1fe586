"""A broker for the tests of publishing, and short runs shared by several tests."""

import pytest

from brinesim.scenario import load_scenario
from brinesim.simulation import Chunk, Simulation
from brokers import embedded, mosquitto

__all__ = ["embedded", "mosquitto"]


class Played:
    """A run that has been played to its end, with everything it gave."""

    def __init__(self, name: str, **changes: object) -> None:
        """Plays the scenario with these changes laid over it."""
        self.simulation = Simulation(load_scenario(name, changes))
        self.chunks: list[Chunk] = list(self.simulation.chunks())
        self.truth = self.simulation.truth.as_table()

    def fault(self, number: int = 0) -> dict[str, object]:
        """What the truth says of one fault."""
        found: dict[str, object] = self.truth["faults"][number]
        return found

    def column(self, name: str) -> list[float]:
        """A true quantity over the whole run."""
        return [float(v) for chunk in self.chunks for v in chunk.columns[name]]


@pytest.fixture(scope="session")
def winter_night() -> Played:
    """The winter night, played."""
    return Played("winter-night")


@pytest.fixture
def play() -> type[Played]:
    """Plays a scenario: `play("heater-failed", seed=3)`."""
    return Played
