"""A scripted pump with a clamp, a gauge, a meter and an outlet that show what it truly does."""

from collections.abc import Iterable

from brineward.plant.plan import DepotPlan, Measure
from depots import plan, sensor
from engine.scripted import Script, World

FITTED = {
    "current": sensor("current", Measure.CURRENT, "pump", standard_uncertainty=0.05),
    "pressure": sensor("pressure", Measure.PRESSURE, "pump", high=1e6, standard_uncertainty=1e3),
    "flow": sensor("flow", Measure.FLOW, "pump", standard_uncertainty=1e-5),
    "power": sensor("power", Measure.POWER, "pump"),
}
STANDING_PA = 11_600.0
"""Under a metre of brine."""


def depot(*names: str) -> DepotPlan:
    """Tern Hollow with only these sensors, of its own and of those above."""
    known = {**plan().sensors, **FITTED}
    return plan(sensors={name: known[name] for name in names})


class PumpWorld(World):
    """What its pump shows, as the simulator's does; `stuck` sensors keep what `says` has."""

    def __init__(self, *, stuck: Iterable[str] = ()) -> None:
        super().__init__()
        self.air = False
        self.mains = 1.0
        self.turns: float | None = None
        """Whether it truly turns, where its switch shows something else."""
        self.stuck = set(stuck)
        self.every_second.append(self.show)

    def show(self, _: World) -> None:
        """A pump that delivers 12.9 A and 222 kPa; deadheaded 9.2 A and 300; dry 4.7 A."""
        turns = self.running if self.turns is None else self.turns
        standing = STANDING_PA * self.level
        dry = self.air or self.level <= 0.08
        flow = self.delivers if turns and self.open and not dry else 0.0
        if not turns:
            current, pressure = 0.0, standing
        elif dry:
            current, pressure = 4.7, 0.3 * standing
        else:
            current, pressure = (12.9, 222e3) if flow else (9.2, 300e3)
        # Their last digits are never the same twice, as a real one's are not.
        wobble = 1.0 + 1e-3 * ((self.seconds * 7919) % 13 - 6)
        shown = {
            "current": current * wobble,
            "pressure": pressure * wobble,
            "flow": flow * wobble,
            "power": self.mains,
        }
        self.says.update({k: v for k, v in shown.items() if k not in self.stuck})

    def step(self) -> None:
        """Air, and a pump that is stopped, move no brine."""
        turns = self.running if self.turns is None else self.turns
        said, self.running = self.running, 0.0 if self.air or self.level <= 0.08 else turns
        try:
            super().step()
        finally:
            self.running = said
        self.show(self)


def loaded(its: DepotPlan, world: PumpWorld, *, loads: int = 1) -> Script:
    """After so many healthy loads of four minutes, one every 600 s from 100 s on."""
    script = Script(its, world=world)
    for number in range(loads):
        at = 100 + 600 * number
        script.at(at - 10, open=1.0).at(at, running=1.0)
        script.at(at + 240, running=0.0).at(at + 250, open=0.0)
    return script
