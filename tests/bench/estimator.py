"""What a strength costs by a probe with tests and looks at standing brine, all told, a reading.

python tests/bench/estimator.py
"""

import math
import random
import sys
import time

from brineward.physics.calibrated import calibrated_word
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.conductivity import conductivity
from brineward.physics.estimate import MOST_KEPT
from brineward.physics.fed import Fed
from brineward.physics.probe_test import probe_test
from brineward.physics.stands import MOST_LOOKS, dense, look

DAYS, LOOKS_A_DAY, STAND_DAYS = 3, 3, 2
BRINE = 0.233


def errors(read: float) -> dict[str, float]:
    """Those of a probe and a thermometer, as the service takes them."""
    return {
        "conductivity_standard_uncertainty": 0.01 * read,
        "temperature_standard_uncertainty": 0.3,
        "apart_standard_uncertainty_k": 0.1,
    }


class Played:
    """A probe that has as many tests and looks as are remembered, and goes on."""

    def __init__(self, *, metered: bool) -> None:
        self.random = random.Random(20)
        self.found = Calibration(Sizes(0.01, 0.3))
        self.metered = metered
        self.stand = 0.0
        self.now = 0.0
        for _ in range(MOST_KEPT):
            self.now += 7.0 * DAY_SECONDS
            self.test()
        for _ in range(MOST_LOOKS):
            self.now += DAY_SECONDS / LOOKS_A_DAY
            self.look()

    def reads(self) -> tuple[float, float]:
        """Conductivity and temperature, with a day's warmth and noise."""
        celsius = 3.0 + 3.0 * math.sin(2.0 * math.pi * self.now / DAY_SECONDS)
        celsius += 0.05 * self.random.gauss(0.0, 1.0)
        return conductivity(BRINE, celsius) * (1.0 + 0.0015 * self.random.gauss(0.0, 1.0)), celsius

    def test(self) -> None:
        """A hydrometer test of now."""
        read, celsius = self.reads()
        self.found.observe(
            probe_test(
                BRINE + 0.001 * self.random.gauss(0.0, 1.0),
                0.0013,
                seconds=self.now,
                conductivity_s_per_m=read,
                temperature_c=celsius,
                **errors(read),
            )
        )

    def look(self) -> None:
        """A look of now; a fill every other day has begun another stand."""
        read, celsius = self.reads()
        before, fed = self.stand, None
        if self.now - self.stand > STAND_DAYS * DAY_SECONDS:
            self.stand, fed = self.now, Fed(before, 0.1, BRINE)
        self.found.look(
            look(
                BRINE,
                seconds=self.now,
                stand=self.stand,
                conductivity_s_per_m=read,
                temperature_c=celsius,
                by_density=dense(BRINE, 0.001) if self.metered else None,
                **errors(read),
            ),
            fed,
        )

    def day(self, every_seconds: float) -> float:
        """Days of readings and looks; microseconds a reading."""
        readings, looked = round(DAYS * DAY_SECONDS / every_seconds), self.now
        said = [(looked + number * every_seconds, *self.reads()) for number in range(readings)]
        began = time.process_time()
        for seconds, read, celsius in said:
            calibrated_word(
                self.found, read, celsius, seconds=seconds, stand=self.stand, **errors(read)
            )
            if seconds - looked >= DAY_SECONDS / LOOKS_A_DAY:
                looked = self.now = seconds
                self.look()
        spent = time.process_time() - began
        self.now = said[-1][0]
        return spent / readings * 1e6


def main() -> None:
    """By how often the probe reports, without a density meter and with one."""
    for metered in (False, True):
        beside = "with a density meter" if metered else "without density"
        for every_seconds in (10.0, 60.0):
            played = Played(metered=metered)
            cost = min(played.day(every_seconds) for _ in range(3))
            print(
                f"a reading every {every_seconds:.0f} s, {beside}: {cost:.1f} us a reading, looks "
                "and all (aim 30)"
            )
        began, count = time.process_time(), 5
        for _ in range(count):
            played.now += DAY_SECONDS / LOOKS_A_DAY
            played.look()
        print(f"  of which a look {(time.process_time() - began) / count * 1e3:.1f} ms")
    assert "numpy" not in sys.modules


if __name__ == "__main__":
    main()
