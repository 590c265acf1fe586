"""Sensors: without ailments they tell the truth, and each ailment does what its name says."""

import numpy as np
import pytest

from brinesim.faults import SensorEffect
from brinesim.instruments import Instrument
from brinesim.scenario import SensorPlan

HOURS = 4
TIME = np.arange(0.0, HOURS * 3600 + 1, 10.0)


def rows(**columns: np.ndarray) -> dict[str, np.ndarray]:
    still = {"fill_flow": np.zeros(TIME.size), "hose_flow": np.zeros(TIME.size)}
    still |= {"main_level": np.full(TIME.size, 2.0), "shelter_temperature": np.full(TIME.size, 9.0)}
    still |= {"main_temperature": np.full(TIME.size, 5.0)}
    return {"time": TIME, **still, **columns}


def samples(plan: SensorPlan, effects: list[SensorEffect] | None = None, **columns: np.ndarray):
    sensor = Instrument("it", plan, seed=3, rough=1.0, effects=effects or [])
    return sensor.sample(rows(**columns), TIME[-1])


def effect(how: str, size: float = 1.0, sensor: str = "it") -> SensorEffect:
    return SensorEffect(sensor=sensor, how=how, begins=3600.0, ends=7200.0, size=size)


LEVEL = SensorPlan(column="main_level", low=0.0, high=3.0, decimals=3)


def test_a_perfect_sensor_tells_the_truth() -> None:
    """With no ailments every sample is the true value at its own moment."""
    ramp = 1.0 + TIME / 20_000
    got = samples(LEVEL, main_level=ramp)
    assert got.times.size == pytest.approx(HOURS * 360, abs=1)
    assert got.values == pytest.approx(np.interp(got.times, TIME, ramp), abs=1e-12)


def test_samples_do_not_depend_on_the_chunks() -> None:
    """Two hours and two hours give the same times and noise as four hours in one piece."""
    plan = LEVEL.model_copy(update={"jitter": 0.0, "lag": 60.0})
    whole = samples(plan, main_level=1.0 + TIME / 20_000)
    sensor = Instrument("it", plan, seed=3, rough=1.0, effects=[])
    half = TIME.size // 2
    parts = []
    for piece in (slice(0, half + 1), slice(half, None)):
        cut = {k: v[piece] for k, v in rows(main_level=1.0 + TIME / 20_000).items()}
        parts.append(sensor.sample(cut, float(cut["time"][-1])))
    assert np.concatenate([p.times for p in parts]) == pytest.approx(whole.times)
    assert np.concatenate([p.values for p in parts]) == pytest.approx(whole.values, abs=1e-9)


def test_a_sensor_is_worn_once_all_its_readings_are_off_by_a_percent() -> None:
    """Counted from the first chunk of which that is so; one that doesn't foul never is."""
    plan = LEVEL.model_copy(update={"fouling_per_day": 1.5})
    sensor = Instrument("it", plan, seed=3, rough=1.0, effects=[])
    clean = Instrument("it", LEVEL, seed=3, rough=1.0, effects=[])
    off_from = []
    for hour in range(HOURS):
        cut = {k: v[hour * 360 : (hour + 1) * 360 + 1] for k, v in rows().items()}
        got = sensor.sample(cut, float(cut["time"][-1]))
        clean.sample(cut, float(cut["time"][-1]))
        off_from += [float(got.times[0])] * bool((got.values < 2.0 * 0.99).all())
    assert 0.0 < off_from[0] < 3 * 3600.0
    assert sensor.worn_from == off_from[0]
    assert clean.worn_from is None


def test_noise_has_its_size() -> None:
    """The scatter about the truth is the plan's standard deviation, to a tenth."""
    got = samples(LEVEL.model_copy(update={"noise": 0.01}))
    assert float(np.std(got.values - 2.0)) == pytest.approx(0.01, rel=0.1)
    assert abs(float(np.mean(got.values)) - 2.0) < 0.001


def test_lag_follows_late() -> None:
    """A step is followed as 1 - exp(-t / lag)."""
    step = np.where(TIME < 3600, 1.0, 2.0)
    plan = LEVEL.model_copy(update={"lag": 300.0, "jitter": 0.0})
    got = samples(plan, main_level=step)
    at = int(np.argmin(np.abs(got.times - 3900)))
    assert got.values[at] == pytest.approx(2 - np.exp(-1), abs=0.03)


def test_quantised_to_its_bits_and_held_in_its_range() -> None:
    """A 4-20 mA converter of few bits gives few values, and never one outside the range."""
    got = samples(LEVEL.model_copy(update={"bits": 4}), main_level=np.linspace(-1, 4, TIME.size))
    assert set(np.round(got.values, 9)) <= {round(i * 0.2, 9) for i in range(16)}
    assert got.values.min() == 0.0
    assert got.values.max() == 3.0


def test_slosh_and_foam_only_while_something_flows() -> None:
    """Calm liquid reads true; filling makes it shake and read high."""
    plan = LEVEL.model_copy(update={"slosh": 0.01, "foam": 0.02})
    filling = np.where((TIME > 3600) & (TIME < 7200), 9e-4, 0.0)
    got = samples(plan, fill_flow=filling)
    calm = (got.times < 3590) | (got.times > 7210)
    assert np.all(got.values[calm] == 2.0)
    assert float(np.mean(got.values[~calm])) == pytest.approx(2.01, abs=0.003)
    assert float(np.std(got.values[~calm])) > 0.008


def test_a_probe_above_the_liquid_is_dry() -> None:
    """Conductivity falls to nothing and a thermometer reads the air once the level is below it."""
    low = np.where(TIME < 3600, 2.0, 0.1)
    probe = SensorPlan(column="conductivity", high=400.0, mounted=0.3)
    got = samples(probe, main_level=low, conductivity=np.full(TIME.size, 170.0))
    assert np.all(got.values[got.times > 3620] == 0.0)
    assert np.all(got.values[got.times < 3590] == 170.0)
    thermometer = SensorPlan(column="main_temperature", low=-40, high=60, mounted=0.3)
    got = samples(thermometer, main_level=low)
    assert np.all(got.values[got.times > 3620] == 9.0)


def test_bubbles_lower_a_few_readings_while_filling() -> None:
    """Air passes the probe only during a fill, and only ever lowers the reading."""
    probe = SensorPlan(
        column="conductivity", high=400.0, bubbles_per_hour=60.0, bubble_depth=0.2, jitter="0 s"
    )
    filling = np.where(TIME > 7200, 9e-4, 0.0)
    got = samples(probe, fill_flow=filling, conductivity=np.full(TIME.size, 170.0))
    low = got.values < 169.9
    assert not low[got.times < 7190].any()
    assert 0.05 < low[got.times > 7210].mean() < 0.35
    assert got.values.max() <= 170.0
    assert got.values.min() >= 170.0 * 0.8


@pytest.mark.parametrize(
    ("how", "size", "check"),
    [
        ("dry", 1.0, lambda v, _: np.all(v == 0.0)),
        ("stuck", 1.0, lambda v, _: np.unique(v).size == 1),
        ("fouled", 0.5, lambda v, t: np.allclose(v, 2 * np.exp(-0.5 * (t - 3600) / 86400))),
        ("drift", 2.4, lambda v, t: np.allclose(v, 2 + 2.4 * (t - 3600) / 86400)),
        ("spike", 0.5, lambda v, _: 0.4 < np.mean(v != 2.0) < 0.6),
        ("swapped", 1.0, lambda v, _: np.all(v == 3.0)),
    ],
)
def test_a_fault_shows_between_its_onset_and_its_mending(how, size, check) -> None:
    """Each sensor fault does its own thing in its own hour, and nothing outside it."""
    plan = LEVEL.model_copy(update={"jitter": 0.0})
    shelter = {"shelter_temperature": np.full(TIME.size, 3.0)}
    got = samples(plan, [effect(how, size)], **shelter)
    during = (got.times >= 3600) & (got.times < 7200)
    assert np.all(got.values[~during] == 2.0)
    assert check(got.values[during], got.times[during])


def test_a_sensor_that_is_stuck_twice_is_stuck_at_what_it_then_shows() -> None:
    """Each time at its own value, also where a fault reaches over two chunks."""
    rising = np.linspace(1.0, 2.0, TIME.size)
    twice = [
        SensorEffect(sensor="it", how="stuck", begins=begins, ends=begins + 3000.0, size=1.0)
        for begins in (1000.0, 6000.0)
    ]
    plan = LEVEL.model_copy(update={"jitter": 0.0})
    sensor = Instrument("it", plan, seed=3, rough=1.0, effects=twice)
    whole = rows(main_level=rising)
    cut = int(np.argmin(np.abs(TIME - 7000.0)))
    parts = [
        sensor.sample({k: v[part] for k, v in whole.items()}, float(whole["time"][part][-1]))
        for part in (slice(0, cut + 1), slice(cut, None))
    ]
    times = np.concatenate([part.times for part in parts])
    values = np.concatenate([part.values for part in parts])
    for effect_ in twice:
        held = values[(times >= effect_.begins) & (times < effect_.ends)]
        assert np.unique(held).size == 1
        assert held[0] == pytest.approx(np.interp(effect_.begins, TIME, rising), abs=0.01)


def test_a_probe_that_is_dry_is_not_worn() -> None:
    """What it reads out of the brine says nothing of a film on it."""
    probe = SensorPlan(
        column="conductivity", high=400.0, mounted=0.3, fouling_per_day=1e-6, drift_per_day=0.02
    )
    sensor = Instrument("it", probe, seed=3, rough=1.0, effects=[])
    low = np.full(TIME.size, 0.1)
    sensor.sample(rows(main_level=low, conductivity=np.full(TIME.size, 170.0)), float(TIME[-1]))
    assert sensor.worn_from is None


def test_a_silent_sensor_says_nothing() -> None:
    """No sample at all falls in its hour; an effect on another sensor changes nothing."""
    got = samples(LEVEL, [effect("silent")])
    assert not ((got.times >= 3600) & (got.times < 7200)).any()
    assert samples(LEVEL, [effect("silent", sensor="other")]).times.size > got.times.size + 300


def test_a_switch_tells_a_change_at_once_and_its_state_regularly() -> None:
    """Within 0.1 s of changing and every ten seconds besides."""
    on = np.where((TIME >= 1000) & (TIME < 1500), 1.0, 0.0)
    plan = SensorPlan(column="pump_turning", on_change=True, jitter="0 s")
    got = samples(plan, pump_turning=on)
    assert np.any(np.abs(got.times - 1000.05) < 1e-6)
    assert np.any(np.abs(got.times - 1500.05) < 1e-6)
    assert np.diff(got.times).max() <= 10.0 + 1e-9
    assert got.values[np.abs(got.times - 1000.05) < 1e-6][0] == 1.0
    assert got.values[np.abs(got.times - 1500.05) < 1e-6][0] == 0.0


def test_rough_doubles_the_scatter() -> None:
    """The rough setting doubles noise and a lasting bias alike."""
    plan = LEVEL.model_copy(update={"noise": 0.005, "bias_sd": 0.05})
    fine = Instrument("it", plan, seed=3, rough=1.0, effects=[]).sample(rows(), TIME[-1])
    rough = Instrument("it", plan, seed=3, rough=2.0, effects=[]).sample(rows(), TIME[-1])
    assert np.std(rough.values) == pytest.approx(2 * np.std(fine.values), rel=0.02)
    assert np.mean(rough.values) - 2 == pytest.approx(2 * (np.mean(fine.values) - 2), rel=0.02)
