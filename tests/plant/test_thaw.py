"""Was it lately warm enough for rain? By the thermometer outdoors, as long as it has reported."""

from brineward.plant.sensors import SensorTracker
from brineward.plant.thaw import ThawTracker
from brineward.readings.instants import HOUR
from depots import START
from wet_depot import wet_depot


def outdoors(*hourly: float | None) -> ThawTracker:
    """A temperature an hour, and every ten minutes of it; None: silence."""
    its = wet_depot("outdoors").sensors["outdoors"]
    tracker = ThawTracker(SensorTracker(its))
    for hour, celsius in enumerate(hourly):
        for part in range(6):
            if celsius is not None:
                tracker.takes["outdoors"](START + hour * HOUR + part * HOUR // 6, celsius)
    return tracker


def test_frost_is_known_after_it_has_lasted() -> None:
    """Of the time before its first reading nothing is known."""
    cold = outdoors(-5.0, -5.0, -5.0)
    assert cold.warm_since(START) is False
    assert cold.warm_since(START - 1) is None


def test_melt_water_is_not_forgotten_at_once() -> None:
    """Two hours after it was above freezing it was so within three, and not within one."""
    tracker = outdoors(4.0, -1.0, -1.0)
    assert tracker.warm_since(START) is True
    assert tracker.warm_since(START + HOUR) is False
    assert outdoors(0.0).warm_since(START) is False


def test_what_it_was_in_a_silence_nobody_knows() -> None:
    """After three hours of silence frost has to last again before it is known."""
    tracker = outdoors(-5.0, None, None, None, -5.0)
    assert tracker.warm_since(START) is None
    assert tracker.warm_since(START + 4 * HOUR) is False
    again = ThawTracker(tracker_sensor())
    again.restore(tracker.snapshot())
    assert again.warm_since(START) is None


def tracker_sensor() -> SensorTracker:
    """The thermometer of another process."""
    return SensorTracker(wet_depot("outdoors").sensors["outdoors"])
