"""What a salinity costs: one by one with its uncertainty, and a million at once beside gsw.

python tests/bench/salinity.py
"""

# ruff: noqa: PLC0415 - numpy must not be imported while the scalar path is timed

import subprocess
import sys
import time
from collections.abc import Callable
from statistics import median

SCALAR_REPEATS, SCALAR_RUNS = 20_000, 7
VALUES, ARRAY_RUNS = 1_000_000, 25
POINTS = ((0.233, 20.0), (0.233, 5.0), (0.233, -10.0), (0.262, 0.0), (0.05, 10.0))


def best(work: Callable[[], object], runs: int) -> float:
    """The least processor time of several runs, in seconds."""
    times = []
    for _ in range(runs):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def scalar() -> None:
    """One by one, with the whole uncertainty budget, before numpy is even imported."""
    from brineward.physics.conductivity import conductivity
    from brineward.physics.salinity import mass_fraction_from_conductivity, salinity

    for mass_fraction, temperature_c in POINTS:
        reading = conductivity(mass_fraction, temperature_c)

        def whole(reading: float = reading, temperature_c: float = temperature_c) -> None:
            for _ in range(SCALAR_REPEATS):
                salinity(
                    reading,
                    temperature_c,
                    conductivity_standard_uncertainty=0.1,
                    temperature_standard_uncertainty=0.2,
                    lag_standard_uncertainty_c=0.1,
                    calibration_standard_uncertainty=0.005,
                )

        def bare(reading: float = reading, temperature_c: float = temperature_c) -> None:
            for _ in range(SCALAR_REPEATS):
                mass_fraction_from_conductivity(reading, temperature_c)

        with_uncertainty = best(whole, SCALAR_RUNS) / SCALAR_REPEATS * 1e6
        inverse_only = best(bare, SCALAR_RUNS) / SCALAR_REPEATS * 1e6
        print(
            f"{mass_fraction * 100:5.1f} % {temperature_c:6.1f} degC: "
            f"{with_uncertainty:5.2f} us with its uncertainty (aim 10), "
            f"{inverse_only:5.2f} us the inverse alone"
        )
    assert "numpy" not in sys.modules


def turn_about(works: list[Callable[[], object]], runs: int) -> list[list[float]]:
    """Processor time of each run in seconds, one of each in turn, so that all see one machine."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(runs):
        for work, told in zip(works, times, strict=True):
            began = time.process_time_ns()
            work()
            told.append((time.process_time_ns() - began) / 1e9)
    return times


def arrays() -> None:
    """A million at once, and gsw's SP_from_C on a million of its own in the same run.

    Both on one thread. Ours: -5 to 35 degC and 1 to 25 % by mass, in no order.
    """
    import gsw
    import numpy as np

    from brineward.physics.arrays import mass_fractions_from_conductivity
    from brineward.physics.conductivity import conductivity
    from brineward.physics.salinities import salinities

    draw = np.random.default_rng(1)
    warm = draw.uniform(-5.0, 35.0, VALUES)
    strengths = draw.uniform(0.01, 0.25, VALUES)
    conducts = np.fromiter(map(conductivity, strengths.tolist(), warm.tolist()), float, VALUES)
    sea, sea_warm, pressure = (
        draw.uniform(20.0, 60.0, VALUES),
        draw.uniform(0.0, 30.0, VALUES),
        np.zeros(VALUES),
    )
    budget = {
        "conductivity_standard_uncertainty": 0.1,
        "temperature_standard_uncertainty": 0.2,
        "lag_standard_uncertainty_c": 0.1,
        "calibration_standard_uncertainty": 0.005,
    }
    began = time.process_time()
    error = np.abs(mass_fractions_from_conductivity(conducts, warm).data - strengths).max()
    first = time.process_time() - began
    ours, theirs = turn_about(
        [
            lambda: mass_fractions_from_conductivity(conducts, warm),
            lambda: gsw.SP_from_C(sea, sea_warm, pressure),
        ],
        ARRAY_RUNS,
    )
    ratios = [one / other for one, other in zip(ours, theirs, strict=True)]
    print(
        f"{VALUES} values, one thread, least of {ARRAY_RUNS} runs in turn: "
        f"{min(ours) / VALUES * 1e9:.1f} ns each (worst error {error:.1e}); "
        f"gsw.SP_from_C {min(theirs) / VALUES * 1e9:.1f} ns each; "
        f"ratio {min(ours) / min(theirs):.2f}, median of the runs' ratios {median(ratios):.2f} "
        f"(aim 1)"
    )
    print(f"the first call, which compiles: {first:.1f} s")
    near = np.full(VALUES, conductivity(0.262, 0.0))
    saturated = best(lambda: mass_fractions_from_conductivity(near, np.zeros(VALUES)), 3)
    print(f"a million next to saturation (26.2 %, 0 degC): {saturated / VALUES * 1e9:.1f} ns each")
    salinities(conducts[:1], warm[:1], **budget)
    whole = best(lambda: salinities(conducts, warm, **budget), 3)
    print(f"a million with their uncertainties: {whole / VALUES * 1e9:.0f} ns each")


if __name__ == "__main__":
    if "--scalar" in sys.argv:
        scalar()
    else:
        subprocess.run([sys.executable, __file__, "--scalar"], check=True)
        arrays()
