"""Films and weak brine in a made tank, through the whole engine: a few runs of each.

Two hundred are `python -m brineward.fitting.films`.
"""

import math

from brineward.fitting.films import first_after, lines, played

SEED = 3
RUNS = 2


def test_a_film_in_a_fill_is_named_and_not_called_weak_brine() -> None:
    """Each is named within an hour, and no alarm of weak brine is raised while it is not weak."""
    for number in range(RUNS):
        run = played("film-in-fill", SEED, number)
        assert run.wrong == []
        assert first_after(run, "probe-drifted") < 60.0


def test_weak_brine_is_called_weak() -> None:
    """A fill of weak brine is announced within two hours of the tank being weak."""
    runs = [played("weak", SEED, number) for number in range(RUNS)]
    off = [run for run in runs if run.began < math.inf]
    assert off
    for run in off:
        assert first_after(run, "brine-weak", "fill-weak") < 120.0
    assert next(lines("weak", runs)).startswith(f"weak: {RUNS} runs, wrong: brine-weak in 0")
