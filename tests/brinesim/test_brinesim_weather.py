"""The weather against published normals of a cold inland place."""

from itertools import pairwise

import numpy as np
import pytest

from brinesim.weather import Weather, WeatherPlan

# Monthly normal temperatures of Albert Lea 3 SE, Minnesota, in degF (Climatography of the United
# States No. 81, found in a public copy): mean, and January's mean maximum and minimum.
MONTHLY_F = (11.8, 17.0, 30.0, 44.9, 58.1, 68.1, 72.5, 69.6, 60.2, 48.6, 32.8, 16.8)
JANUARY_MAX_F, JANUARY_MIN_F = 20.7, 2.8
# Record low of January in Rice Lake, Wisconsin, 1982 (a published monthly climatology of the
# place, found in a public copy).
RECORD_LOW_F = -43.0
YEARS = 24
DAY = 86_400.0


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@pytest.fixture(scope="module")
def years() -> np.ndarray:
    """Hourly outdoor temperatures of many years, a row a year, from 1 January local time."""
    result = []
    for seed in range(YEARS):
        sky = Weather(
            WeatherPlan(), seed=np.random.SeedSequence(seed), year_day=0.25, seconds=366 * DAY
        )
        result.append([sky.at(hour * 3600.0)[0] for hour in range(365 * 24)])
    return np.array(result)


def test_monthly_means_are_near_the_normals(years: np.ndarray) -> None:
    """Every month's mean over many years is within 3 K of the normal, the year's within 0.7 K."""
    edges = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 24
    means = [float(years[:, a:b].mean()) for a, b in pairwise(edges.tolist())]
    normals = [celsius(f) for f in MONTHLY_F]
    assert means == pytest.approx(normals, abs=3.0)
    assert np.mean(means) == pytest.approx(np.mean(normals), abs=0.7)


def test_january_days_swing_as_the_normals_do(years: np.ndarray) -> None:
    """The mean daily range in January is within 3 K of the normal maximum less minimum."""
    days = years[:, : 31 * 24].reshape(YEARS, 31, 24)
    swing = float((days.max(axis=2) - days.min(axis=2)).mean())
    assert swing == pytest.approx((JANUARY_MAX_F - JANUARY_MIN_F) / 1.8, abs=3.0)


def test_the_coldest_nights_are_cold_but_not_beyond_the_record(years: np.ndarray) -> None:
    """A year's coldest hour is below -22 degC in most years, and never under the record low."""
    coldest = years.min(axis=1)
    assert np.median(coldest) < -22.0
    assert coldest.min() > celsius(RECORD_LOW_F) - 1.0


def test_rain_only_falls_when_it_is_not_freezing() -> None:
    """No rain below 0.5 degC, and some in a mild month."""
    sky = Weather(WeatherPlan(), seed=np.random.SeedSequence(4), year_day=90, seconds=60 * DAY)
    seen = [sky.at(t) for t in np.arange(0, 60 * DAY, 600.0)]
    assert sum(rain for _, _, rain in seen) > 0
    assert all(temperature > 0.4 for temperature, _, rain in seen if rain > 0)
    assert all(wind > 0 for _, wind, _ in seen)
