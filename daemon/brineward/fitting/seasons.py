"""Does the stated interval contain the truth, in a world unlike our model? A thousand seasons.

`python -m brineward.fitting.season_table` prints the table and draws seasons.png.
Each season is a year of one probe in one tank, with a truth of its own (`brineward.fitting.worlds`)
and errors unlike those that the calibration assumes: rectangular instead of normal ones, a ramp and
a walk, salt that changes with deliveries and affects probe and hydrometer alike, batches, weather,
and tests with a hydrometer's own error. The calibration knows only what a data sheet says.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from brineward.fitting.conductivity_rows import Floats
from brineward.fitting.worlds import World, drawn_world
from brineward.physics.calibrated import Word, calibrated_word, density_beside
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import sizes_of
from brineward.physics.conductivity import slope_in_mass_fraction
from brineward.physics.density import density, density_per_mass_fraction, salinity_from_density
from brineward.physics.fed import Fed
from brineward.physics.hydrometer import salinity_from_specific_gravity, specific_gravity
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.probe_test import DENSITY_IMPURITY, SAMPLE, probe_test
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import Salinity, salinity
from brineward.physics.stands import Dense, dense, look
from brineward.physics.witness import Conditions, combine

DAYS = 365
PROBE, THERMOMETER_K = 0.01, 0.3
"""Standard uncertainties by data sheet: 1 % of the reading, 0.3 K."""
MARK, SAMPLE_K = 0.001, 0.5
"""Of a test: the mark as read, the sample's thermometer."""
METER_KG_PER_M3 = 1.0
"""Of an inline density meter."""
SALT_WEIGHS = 0.00175
"""Mass fraction: so much stronger the worst road salt looks to a hydrometer or density meter."""
SALT_TAKES = (-10.0, 0.0, 20.0), (0.007, 0.005, 0.003)
"""Mass fraction: so much weaker it looks to a probe, at these degC."""
TARGET, BATCH = 0.233, 0.007
"""Of a batch: the mean, and the standard deviation where each has a strength of its own."""
WEAK_FILLS, WEAK = 1.0 / 15.0, (0.08, 0.21)
"""The share of fills from a hopper that is short of salt, and what they bring."""
COLDEST_C, WARMEST_C = -15.0, 30.0
_RECTANGLE = 3.0**0.5


class Judged(NamedTuple):
    """One reading of one season, judged with and without the tests."""

    day: int
    temperature_c: float
    truth: float
    plain: Salinity | None
    calibrated: Salinity | None
    with_density: Salinity | None
    test_days: float
    """Since the last test; infinite before the first."""
    test_k: float
    """Distance of the last test's temperature."""
    tests: int
    """How many have been taken into account."""
    odd: bool
    """The last test was set aside, and the next one must decide."""
    shifted: float = 0.0
    """What standing brine has shown the probe to read more since its last test, relative."""
    film: float = 0.0
    """By so much a month a film grows that tests and looks have shown together, relative."""


class Season(NamedTuple):
    """What was true, day by day, and what the sensors read."""

    temperature_c: Floats
    mass_fraction: Floats
    conductivity: Floats
    read_c: Floats
    read_density: Floats
    impurity: Floats
    """How much of the worst road salt there is in the brine, 0 to 1."""
    tests: dict[int, tuple[float, float]]
    """By day: the mark read on a 60/60 degF hydrometer, and the sample's temperature read."""
    fills: dict[int, float]
    """By day: the share of the tank that a fill had brought, as its level told; where batches are
    made by fills."""


class Filling(NamedTuple):
    """How a tank is filled: what it held stays in it, and so much comes in."""

    every_days: tuple[float, float]
    share: tuple[float, float]


def drawn_season(random: np.random.Generator, filling: Filling | None = None) -> Season:
    """One year by chance; without `filling` each batch is of a strength of its own."""
    truth_c = _weather(random)
    strength, fills = _batches(random, truth_c), dict[int, float]()
    if filling is not None:
        strength, fills = _filled(random, truth_c, filling)
    impurity = drawn_impurity(random)
    conducts = _conductivity(drawn_world(random), strength, truth_c, impurity)
    days = np.arange(DAYS) / DAYS
    gain = (
        0.7 * PROBE * _rectangle(random)
        + 0.5 * PROBE * random.standard_normal() * days
        + 0.8 * PROBE * np.cumsum(random.standard_normal(DAYS)) / DAYS**0.5
    )
    noise = 0.15 * random.standard_normal((2, DAYS))
    bias = THERMOMETER_K * (0.95 * _rectangle(random) + 0.2 * random.standard_normal() * days)
    salt = SALT_WEIGHS * impurity
    heavy = np.array(
        [density(float(w), float(t)) for w, t in zip(strength + salt, truth_c, strict=True)]
    )
    meter = 0.8 * _rectangle(random) + 0.5 * random.standard_normal(DAYS)
    return Season(
        truth_c,
        strength,
        conducts * np.exp(gain + PROBE * noise[0]),
        truth_c + bias + THERMOMETER_K * noise[1],
        heavy + METER_KG_PER_M3 * meter,
        impurity,
        _tests(random, strength + salt + SAMPLE * random.standard_normal(DAYS), truth_c),
        fills,
    )


def fouled(season: Season, day: int, share: float) -> Season:
    """The same season with a film on the probe from a day on: it reads a share less."""
    clean = np.arange(DAYS) < day
    return season._replace(conductivity=season.conductivity * np.where(clean, 1.0, 1.0 - share))


def judged_season(
    season: Season,
    apart_k: float = 0.0,
    *,
    stands: bool = False,
    metered: bool = False,
    fed: bool = False,
    every: int = 1,
) -> Iterator[Judged]:
    """Every day's reading, judged as the service would; the test of a day comes before it. Without
    `stands` nothing is learnt between tests: those of `every` so many days are judged as among all.

    `apart_k` is how far the brine at the probe is said to differ from that at its thermometer.
    With `stands` the tank's batches are known, and each day's reading is a look at standing brine;
    if `metered` as well, the look holds probe and density meter together; if `fed`, what came in
    between two batches is held against both.
    """
    calibration = Calibration(sizes_of(PROBE, THERMOMETER_K, apart_k))
    last_day, last_c = -np.inf, np.nan
    began, about, came = 0.0, None, None
    for day in range(DAYS):
        read, read_c = float(season.conductivity[day]), float(season.read_c[day])
        if day in season.tests:
            _take(calibration, day, (read, read_c, apart_k), season.tests[day])
            last_day, last_c = float(day), read_c
        if day == 0 or season.mass_fraction[day] != season.mass_fraction[day - 1]:
            share = season.fills.get(day)
            came = None if share is None or not fed else Fed(began * 86_400.0, share, TARGET)
            began, about = float(day), None
        if day % every and not stands:
            continue
        plain = _plain(read, read_c)
        stand = began * 86_400.0 if stands else None
        first = came if about is None and not metered else None
        word = _calibrated(calibration, day, (read, read_c, apart_k), stand, first)
        calibrated = None if word is None else word.salinity
        meter = _metered(read_c, float(season.read_density[day]))
        yield Judged(
            day,
            float(season.temperature_c[day]),
            float(season.mass_fraction[day]),
            plain,
            calibrated,
            _with_density(calibration, word, meter, (day, read_c, stand)),
            day - last_day,
            abs(read_c - last_c),
            len(calibration.kept),
            bool(calibration.odd),
            _shifted(calibration, last_day),
            _film(calibration),
        )
        # Looked at after it was judged: what is held comes from the days before.
        if stands:
            told = (read, read_c, apart_k)
            seen = None if meter is None or not metered else meter[1]
            about = _look(calibration, (began, about, came), day, told, seen)


def _take(
    calibration: Calibration,
    day: int,
    said: tuple[float, float, float],
    test: tuple[float, float],
) -> None:
    read, read_c, apart_k = said
    mark, sample_c = test
    try:
        found = salinity_from_specific_gravity(
            mark,
            sample_c,
            mark_standard_uncertainty=MARK,
            temperature_standard_uncertainty=SAMPLE_K,
        )
    except NotBrine:  # a slip so far off that the service refuses the test, too
        return
    calibration.observe(
        probe_test(
            found.mass_fraction,
            found.standard_uncertainty,
            seconds=day * 86_400.0,
            conductivity_s_per_m=read,
            temperature_c=read_c,
            conductivity_standard_uncertainty=PROBE * read,
            temperature_standard_uncertainty=THERMOMETER_K,
            apart_standard_uncertainty_k=apart_k,
        )
    )


def _shifted(calibration: Calibration, last_test_day: float) -> float:
    changes = calibration.seen_changes()
    changes = [one for one in changes if one.kind == "step"]
    seen = next((one for one in changes if one.seconds > last_test_day * 86_400.0), None)
    return 0.0 if seen is None else calibration.shifted_since(seen)


def _film(calibration: Calibration) -> float:
    film = calibration.film()
    return 0.0 if film is None else film.per_month


def _look(
    calibration: Calibration,
    stand: tuple[float, float | None, Fed | None],
    day: int,
    said: tuple[float, float, float],
    by_density: Dense | None,
) -> float | None:
    """A day's reading of brine that stands since `stand`; about how strong that is."""
    read, read_c, apart_k = said
    began, about, came = stand
    if about is None:
        first = _calibrated(calibration, day, said)
        if first is None:
            return None
        about = round(first.salinity.mass_fraction, 4)
    calibration.look(
        look(
            about,
            seconds=day * 86_400.0,
            stand=began * 86_400.0,
            conductivity_s_per_m=read,
            temperature_c=read_c,
            conductivity_standard_uncertainty=PROBE * read,
            temperature_standard_uncertainty=THERMOMETER_K,
            apart_standard_uncertainty_k=apart_k,
            by_density=by_density,
        ),
        came,
    )
    return about


def _plain(read: float, read_c: float) -> Salinity | None:
    try:
        return salinity(
            read,
            read_c,
            conductivity_standard_uncertainty=PROBE * read,
            temperature_standard_uncertainty=THERMOMETER_K,
        )
    except NotBrine:
        return None


def _calibrated(
    calibration: Calibration,
    day: int,
    said: tuple[float, float, float],
    stand: float | None = None,
    fed: Fed | None = None,
) -> Word | None:
    read, read_c, apart_k = said
    try:
        return calibrated_word(
            calibration,
            read,
            read_c,
            # Half a day after a test of that day.
            seconds=(day + 0.5) * 86_400.0,
            conductivity_standard_uncertainty=PROBE * read,
            temperature_standard_uncertainty=THERMOMETER_K,
            apart_standard_uncertainty_k=apart_k,
            stand=stand if fed is None else None,
            fed=fed,
        )
    except NotBrine:
        return None


def _metered(read_c: float, meter: float) -> tuple[Salinity, Dense] | None:
    """The strength by the density meter, and the same with its uncertainties taken apart."""
    try:
        found = salinity_from_density(
            meter,
            read_c,
            density_standard_uncertainty_kg_per_m3=METER_KG_PER_M3,
            temperature_standard_uncertainty=THERMOMETER_K,
            impurity_standard_uncertainty=DENSITY_IMPURITY,
        )
    except NotBrine:
        return None
    by_meter = METER_KG_PER_M3 / density_per_mass_fraction(found.mass_fraction, read_c)
    return found, dense(found.mass_fraction, by_meter)


def _with_density(
    calibration: Calibration,
    word: Word | None,
    meter: tuple[Salinity, Dense] | None,
    place: tuple[int, float, float | None],
) -> Salinity | None:
    if word is None or meter is None:
        return None if word is None else word.salinity
    day, read_c, stand = place
    by_density, told = meter
    seconds = (day + 0.5) * 86_400.0
    beside = density_beside(
        calibration, word, by_density, told, seconds=seconds, temperature_c=read_c, stand=stand
    )
    # The test has taken the thermometer's bias out of the probe's word: nothing of it is shared.
    shared = 0.0 if beside is None else beside.shared
    conditions = Conditions(
        temperature_c=read_c,
        temperature_standard_uncertainty=0.0,
        density_from="meter",
        shared=shared,
    )
    try:
        by_density = by_density if beside is None else beside.salinity
        return combine(word.salinity, by_density, conditions)
    except NotBrine:
        return None


# -- what is drawn


def drawn_impurity(random: np.random.Generator) -> Floats:
    """How much of the worst road salt there is, day by day: another with each delivery."""
    return _held(random, 20.0, 60.0, random.random)


def _rectangle(random: np.random.Generator) -> float:
    """Of standard deviation 1."""
    return float(random.uniform(-_RECTANGLE, _RECTANGLE))


def _weather(random: np.random.Generator) -> Floats:
    """Temperature of the brine, day by day: the year, and spells of some days."""
    days = np.arange(DAYS)
    year = random.uniform(2.0, 14.0) - random.uniform(8.0, 17.0) * np.cos(2 * np.pi * days / DAYS)
    spells = np.zeros(DAYS)
    for day in range(1, DAYS):
        spells[day] = 0.75 * spells[day - 1] + 1.2 * random.standard_normal()
    found: Floats = np.clip(
        np.roll(year, int(random.integers(DAYS))) + spells, COLDEST_C, WARMEST_C
    )
    return found


def _held(
    random: np.random.Generator, shortest: float, longest: float, draw: Callable[[], float]
) -> Floats:
    """A value that is drawn again every so many days."""
    found = np.empty(DAYS)
    day = 0
    while day < DAYS:
        until = day + round(float(random.uniform(shortest, longest)))
        found[day:until] = draw()
        day = until
    return found


def _batches(random: np.random.Generator, temperature_c: Floats) -> Floats:
    """Strength, batch by batch; what is beyond the lines at a temperature has dropped out."""
    strength = _held(random, 3.0, 14.0, lambda: random.normal(TARGET, BATCH))
    least = np.array([least_liquid(float(t)) for t in temperature_c])
    most = np.array([most_liquid(float(t)) for t in temperature_c])
    found: Floats = np.clip(strength, np.maximum(least, 0.2), np.minimum(most, 0.255))
    return found


def _filled(
    random: np.random.Generator, temperature_c: Floats, filling: Filling
) -> tuple[Floats, dict[int, float]]:
    """Strength by mass balance, fill by fill, and the share of each as the level told it."""
    strength, told = np.empty(DAYS), dict[int, float]()
    mix = random.normal(TARGET, 0.006)
    held, day = float(mix), 0
    while day < DAYS:
        if day:
            share = random.uniform(*filling.share)
            came = (
                random.uniform(*WEAK)
                if random.random() < WEAK_FILLS
                else mix + random.normal(0.0, 0.007)
            )
            held = float(np.clip((1.0 - share) * held + share * came, 0.2, 0.255))
            told[day] = float(np.clip(share * random.normal(1.0, 0.07), 0.0, 1.0))
        until = day + max(1, round(float(random.uniform(*filling.every_days))))
        strength[day:until] = held
        day = until
    least = np.array([least_liquid(float(t)) for t in temperature_c])
    most = np.array([most_liquid(float(t)) for t in temperature_c])
    return np.clip(strength, least, most), told


def _conductivity(world: World, strength: Floats, truth_c: Floats, impurity: Floats) -> Floats:
    """What a perfect probe would read; other salts take some of it away."""
    short = impurity * np.interp(truth_c, *SALT_TAKES)
    slope = np.array(
        [slope_in_mass_fraction(float(w), float(t)) for w, t in zip(strength, truth_c, strict=True)]
    )
    found: Floats = np.exp(world.log_conductivity(strength, truth_c) - slope * short)
    return found


def _tests(
    random: np.random.Generator, heavy: Floats, truth_c: Floats
) -> dict[int, tuple[float, float]]:
    """Tests from the first month on, every 5 to 14 days."""
    own_error = 0.6 * MARK * _rectangle(random)
    own_k = 0.7 * SAMPLE_K * _rectangle(random)
    found: dict[int, tuple[float, float]] = {}
    day = int(random.integers(3, 30))
    while day < DAYS:
        mark = specific_gravity(float(heavy[day]), float(truth_c[day])) + own_error
        read = mark + 0.8 * MARK * random.standard_normal()
        # Marked in thousandths, read to half of one.
        read = round(read * 2000.0) / 2000.0
        sample_c = float(truth_c[day]) + own_k + 0.7 * SAMPLE_K * random.standard_normal()
        found[day] = (read, sample_c)
        day += int(random.integers(5, 15))
    return found
