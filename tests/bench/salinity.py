"""What a salinity costs, with its uncertainty and without.

python tests/bench/salinity.py
"""

import sys
import time
from collections.abc import Callable

from brineward.physics.conductivity import conductivity
from brineward.physics.salinity import mass_fraction_from_conductivity, salinity

REPEATS, RUNS = 20_000, 7
POINTS = ((0.233, 20.0), (0.233, 5.0), (0.233, -10.0), (0.262, 0.0), (0.05, 10.0))


def best(work: Callable[[], object], runs: int) -> float:
    """The least processor time of several runs, in seconds."""
    times = []
    for _ in range(runs):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def main() -> None:
    """One by one, with the whole uncertainty budget, and the inverse alone."""
    for mass_fraction, temperature_c in POINTS:
        reading = conductivity(mass_fraction, temperature_c)

        def whole(reading: float = reading, temperature_c: float = temperature_c) -> None:
            for _ in range(REPEATS):
                salinity(
                    reading,
                    temperature_c,
                    conductivity_standard_uncertainty=0.1,
                    temperature_standard_uncertainty=0.2,
                    lag_standard_uncertainty_c=0.1,
                    calibration_standard_uncertainty=0.005,
                )

        def bare(reading: float = reading, temperature_c: float = temperature_c) -> None:
            for _ in range(REPEATS):
                mass_fraction_from_conductivity(reading, temperature_c)

        with_uncertainty = best(whole, RUNS) / REPEATS * 1e6
        inverse_only = best(bare, RUNS) / REPEATS * 1e6
        print(
            f"{mass_fraction * 100:5.1f} % {temperature_c:6.1f} degC: "
            f"{with_uncertainty:5.2f} us with its uncertainty (aim 10), "
            f"{inverse_only:5.2f} us the inverse alone"
        )
    assert "numpy" not in sys.modules


if __name__ == "__main__":
    main()
