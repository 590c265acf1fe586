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


def test_a_slip_alone_puts_no_brine_outside_its_band() -> None:
    """A test 1.1 % of salt too strong, in brine of 24.0 %, then a fill: it is asked for again."""
    run = played("slip", 90, 55)
    assert run.wrong == []
    assert first_after(run, "probe-drifted") < math.inf
    assert "brine-strong" not in run.raised


def test_what_a_slip_changes_of_the_probe_is_no_movement_of_the_brine() -> None:
    """A fill of good brine after a test that was 0.75 % of salt too weak is not called weak."""
    assert "fill-weak" not in played("slip", 90, 6).raised


def test_the_fill_after_a_weak_one_is_judged_by_what_the_level_shows_to_have_come_in() -> None:
    """The float lets it in twelve minutes after the pump began to draw; it is good brine."""
    run = played("weak", 90, 21)
    assert run.wrong == []
    assert first_after(run, "brine-weak", "fill-weak") < 120.0


def test_weak_brine_is_called_weak() -> None:
    """A fill of weak brine is announced within two hours of the tank being weak."""
    runs = [played("weak", SEED, number) for number in range(RUNS)]
    off = [run for run in runs if run.began < math.inf]
    assert off
    for run in off:
        assert first_after(run, "brine-weak", "fill-weak") < 120.0
    assert next(lines("weak", runs, [set() for _ in runs])).startswith(
        f"weak: {RUNS} runs, wrong: brine-weak in 0"
    )
