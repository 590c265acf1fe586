"""Weather: seasons, days, fronts, cold snaps, wind and rain, made up from a seed.

The means and swings are those of a cold inland place; the sources stand in `sources.toml`.
"""

import math

import numpy as np
from numpy.typing import NDArray
from pydantic import Field
from scipy.signal import lfilter

from brinesim.parts import NotNegative, Part, Positive

Floats = NDArray[np.float64]

GRID_SECONDS = 600.0


class WeatherPlan(Part):
    """What the weather is drawn from."""

    year_mean_c: float = 6.8
    year_swing_c: float = 16.9
    """Half the difference between the warmest and the coldest month's mean."""
    coldest_day: float = 20.0
    day_swing_c: float = 4.0
    front_sd_c: NotNegative = 4.5
    front_hours: Positive = 55.0
    snap_per_day: float = Field(default=0.03, ge=0, le=1)
    """Chance of a cold snap beginning on a winter day."""
    snap_depth_c: NotNegative = 7.0
    snap_days: Positive = 3.0
    wind_mean_m_per_s: NotNegative = 4.0
    rain_per_day: float = Field(default=0.3, ge=0, le=1000)
    rain_mm_per_event: NotNegative = 5.0
    offset_c: float = 0.0
    local_hours: float = -6.0
    """Local solar time less UTC."""


class Weather:
    """Outdoor temperature, wind and rain on a ten-minute grid, straight between its points."""

    def __init__(
        self, plan: WeatherPlan, *, seed: np.random.SeedSequence, year_day: float, seconds: float
    ) -> None:
        """Draws the whole span at once; `year_day` is the day of the year at time 0, in UTC."""
        draw = np.random.Generator(np.random.PCG64(seed))
        count = int(seconds / GRID_SECONDS) + 3
        days: Floats = (year_day + np.arange(count) * (GRID_SECONDS / 86400)).astype(np.float64)
        local = days + plan.local_hours / 24
        season = np.asarray(
            -np.cos(2 * np.pi * (days - plan.coldest_day) / 365.25), dtype=np.float64
        )
        hour = -np.cos(2 * np.pi * (local % 1.0 - 3.5 / 24))
        front = _wandering(draw, count, plan.front_hours * 3600, 4 * 3600) * plan.front_sd_c
        snaps = _snaps(plan, draw, days, season)
        temperature = (
            plan.year_mean_c
            + plan.offset_c
            + plan.year_swing_c * season
            + plan.day_swing_c * hour
            + front * (1 - 0.25 * season)
            + snaps
        )
        wind = plan.wind_mean_m_per_s * np.exp(
            0.5 * _wandering(draw, count, 6 * 3600, 1200) - 0.125
        )
        rain = _rain(plan, draw, temperature)
        self._temperature = [float(x) for x in temperature]
        self._wind = [float(x) for x in wind]
        self._rainfall = [float(x) for x in rain]

    def at(self, seconds: float) -> tuple[float, float, float]:
        """Temperature in degC, wind in m/s, rain in kg/(s m2), this long from the start."""
        place = seconds / GRID_SECONDS
        row = int(place)
        part = place - row
        temperature, wind = self._temperature, self._wind
        return (
            temperature[row] + part * (temperature[row + 1] - temperature[row]),
            wind[row] + part * (wind[row + 1] - wind[row]),
            self._rainfall[row],
        )


def _wandering(
    draw: np.random.Generator, count: int, seconds: float, smooth_seconds: float
) -> Floats:
    """A smooth random walk that returns: mean 0, standard deviation 1 (a second-order process)."""
    keep = math.exp(-GRID_SECONDS / seconds)
    noise = draw.standard_normal(count) * math.sqrt(1 - keep * keep)
    noise[0] = draw.standard_normal()
    walk = lfilter([1.0], [1.0, -keep], noise)
    slow = math.exp(-GRID_SECONDS / smooth_seconds)
    smooth, _ = lfilter([1 - slow], [1.0, -slow], walk, zi=[slow * walk[0]])
    # A first-order lag takes this share of a first-order process's variance away.
    return np.asarray(smooth * math.sqrt((seconds + smooth_seconds) / seconds), dtype=np.float64)


def _snaps(plan: WeatherPlan, draw: np.random.Generator, days: Floats, season: Floats) -> Floats:
    total = np.zeros_like(days)
    chances = draw.random(int(days[-1] - days[0]) + 1)
    depths = draw.gamma(4.0, plan.snap_depth_c / 4.0, chances.size)
    for day, (chance, depth) in enumerate(zip(chances, depths, strict=True)):
        middle = days[0] + day
        cold = -season[min(int(day * 86400 / GRID_SECONDS), season.size - 1)]
        if chance < plan.snap_per_day * max(0.0, cold):
            total -= depth * np.exp(-(((days - middle) / (plan.snap_days / 2)) ** 2))
    return total


def _rain(plan: WeatherPlan, draw: np.random.Generator, temperature: Floats) -> Floats:
    """Rain in kg/(s m2); what falls below freezing stays snow and is shovelled out."""
    rain = np.zeros(temperature.size)
    span = temperature.size * GRID_SECONDS / 86400
    for _ in range(int(draw.poisson(plan.rain_per_day * span))):
        begin = int(draw.integers(0, temperature.size))
        length = max(1, int(draw.gamma(2.0, 12.0)))
        amount = draw.gamma(0.8, plan.rain_mm_per_event / 0.8)
        rain[begin : begin + length] += amount / (length * GRID_SECONDS)
    return np.where(temperature > 0.5, rain, 0.0)
