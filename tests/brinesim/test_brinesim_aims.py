"""The aims of a score: which catches each counts, and which of them were in time."""

from brinesim.scoring.aims import (
    idle_current_within_seconds,
    reached,
    silent_within_seconds,
    stuck_within_seconds,
)
from verdicts import catch


def test_an_aim_counts_what_came_in_time() -> None:
    """Just in time counts, a second later and never don't; and an aim says whether it was met."""
    closed = [
        catch("pump-against-closed-valve", delay_seconds=5.0),
        catch("valve-shut-before-pump-off", delay_seconds=6.0),
        catch("valve-shut-before-pump-off", caught=False, delay_seconds=None),
    ]
    (by_switch,) = reached(closed, sensors=("hose-valve-open",))
    assert (by_switch.in_time, by_switch.of, by_switch.met) == (1, 3, False)
    (by_level,) = reached(closed[:2], sensors=("main-level",))
    assert (by_level.in_time, by_level.of, by_level.met) == (2, 2, True)


def test_an_aim_is_about_depots_that_have_what_it_needs() -> None:
    """A dry pump is due in a minute where its current is measured, else in five, else never."""
    dry = [catch("air-lock", delay_seconds=seconds) for seconds in (60.0, 61.0, 301.0)]
    (by_current,) = reached(dry, sensors=("pump-running", "pump-current"))
    (by_level,) = reached(dry, sensors=("pump-running", "main-level"))
    assert (by_current.in_time, by_level.in_time) == (1, 2)
    assert reached(dry, sensors=("main-level",)) == ()


def test_a_stated_time_is_the_sensor_s_own() -> None:
    """A sensor that speaks once a minute has longer than one that speaks every ten seconds."""
    late = silent_within_seconds(10.0) + 1
    silent = [catch("sensor-silent", every_seconds=e, delay_seconds=late) for e in (10.0, 60.0)]
    assert reached(silent, sensors=())[0].in_time == 1
    late = stuck_within_seconds(10.0) + 1
    stuck = [catch("sensor-stuck", every_seconds=e, delay_seconds=late) for e in (10.0, 60.0)]
    assert reached(stuck, sensors=())[0].in_time == 1


def test_a_current_at_rest_is_due_in_the_pump_s_next_run() -> None:
    """Hours after the onset, if it has to be: but of the current alone, and no later in the run."""
    limit = idle_current_within_seconds(10.0)

    def told(sensor: str, since_start: float | None) -> int:
        late = {"delay_seconds": 5000.0, "every_seconds": 10.0}
        one = catch("sensor-stuck", sensor=sensor, since_start_seconds=since_start, **late)
        return reached([one], sensors=())[0].in_time

    assert told("pump-current", limit) == 1
    assert told("pump-current", limit + 1) == 0
    assert told("pump-current", None) == 0
    assert told("pump-pressure", limit) == 0


def test_brine_is_due_only_where_it_is_clearly_off() -> None:
    """A batch that is less than 1 % off its band is not part of that aim."""
    weak = [
        catch("weak-brine", clearly_off=True, since_batch_seconds=600.0),
        catch("weak-brine", clearly_off=True, since_batch_seconds=601.0),
        catch("weak-brine", clearly_off=False, caught=False, delay_seconds=None),
    ]
    (aim,) = reached(weak, sensors=())
    assert (aim.in_time, aim.of) == (1, 2)
