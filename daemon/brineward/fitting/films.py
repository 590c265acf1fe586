"""Films and slips against weak and strong brine, through the whole engine: who is told what.

    python -m brineward.fitting.films -n 200 --seed 3 film-at-rest film-in-fill weak

A made tank (`brineward.fitting.film_tank`) is loaded from and filled every one to two and a half
days, with a reading of each sensor a minute and two honest tests at the beginning. Then a film
comes while the tank stands or while it moves, or creeps; or a test is a slip; or a fill brings weak
or strong brine. Counted are alarms of weak and strong brine that the truth doesn't bear out, how
soon a film is named, and how soon brine that is off is told. A wrong alarm is put down to the film
or slip unless the same run without it has it too: brine close to a limit is announced by chance.
`film-creeping` is sixty days with tests; `tested` is the same without a film. Each run has a
generator of its own, by the seed, its case and its number, so that two versions of the service
play the same runs.
"""

import argparse
import math
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from brineward.engine.engine import Engine
from brineward.fitting.film_tank import DEPOT, HIGH, LOW, TANK, MadeTank, Minute, drawn_loads, plan
from brineward.readings.entries import HandTest
from brineward.readings.instants import MINUTE, instant_from_rfc3339
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.readings.values import Reading

SEED = 1
START = instant_from_rfc3339("2026-01-14T18:00:00Z")
HOUR, DAY = 60.0, 1440.0
"""In minutes."""
CALM_DAYS, AFTER_DAYS, CREEP_DAYS = 2.0, 3.5, 60.0
CLEARLY = 0.005
"""Mass fraction: brine counts as weak or strong where it is so far outside its band."""
AT_LIMIT = 0.0026
"""Mass fraction: so close to a limit a test by hydrometer, too, says either (two of its standard
uncertainties)."""
TEST_OWN, TEST_LASTING = 0.0010, 0.0006
"""Standard deviations of a test by hydrometer, as mass fractions."""
_OF_BRINE = ("brine-weak", "brine-strong", "fill-weak")


Random = np.random.Generator


class Played(NamedTuple):
    """What came of one run; minutes since it began."""

    began: float
    """When the film came, the slip was made, or the brine was off."""
    raised: dict[str, list[float]]
    """When each alarm was raised."""
    wrong: list[str]
    """Those of the brine that were raised while it was inside its band."""
    clearly: list[str]
    """Those of them that were raised while it was inside by more than `AT_LIMIT`."""
    tests: list[float]


class Story(NamedTuple):
    """One run before it is played."""

    tank: MadeTank
    minutes: int
    began: float
    tests: list[tuple[float, float]]
    """Minutes at which somebody means to test, and how far off the mark is then read."""
    slip: float = 0.0
    """The part of the last test's error that is a slip."""

    def without(self) -> "Story":
        """The same without its film or slip."""
        self.tank.lost = self.tank.lost_a_month = 0.0
        slip = [(at, off - self.slip) for at, off in self.tests[2:]] if self.slip else []
        return self._replace(tests=[*self.tests[:2], *slip] if self.slip else self.tests)


def _story(
    random: Random,
    days: float,
    *,
    strength: float = 0.0,
    slip: float = 0.0,
    every: tuple[float, float] | None = None,
    share: tuple[float, float] = (0.07, 0.43),
) -> Story:
    loads = drawn_loads(random, days * DAY, every_days=(1.0, 2.5), share=share)
    tank = MadeTank(random, loads, strength or 0.233 + 0.004 * random.standard_normal())
    at = [HOUR, 26 * HOUR, 26 * HOUR + 1]
    if every is not None:
        at = [HOUR]
        while at[-1] < days * DAY:
            at.append(at[-1] + DAY * random.uniform(*every))
    lasting = TEST_LASTING * random.standard_normal()
    tests = [(one, lasting + TEST_OWN * random.standard_normal()) for one in at]
    if every is None:
        slipped = random.uniform(CALM_DAYS, CALM_DAYS + 2.0) * DAY
        tests[2:] = [(slipped, slip)] if slip else []
    return Story(tank, round(days * DAY), tests[-1][0] if slip else math.inf, tests, slip)


def _with_film(story: Story, began: float, lost: float, a_month: float = 0.0) -> Story:
    story.tank.lost_at, story.tank.lost, story.tank.lost_a_month = began, lost, a_month
    return story._replace(began=began)


def _calm(random: Random) -> Story:
    return _story(random, CALM_DAYS + 2.0 + AFTER_DAYS)


def _film_at_rest(random: Random) -> Story:
    story = _calm(random)
    while True:
        began = random.uniform(CALM_DAYS, CALM_DAYS + 2.0) * DAY
        if all(not one.at - 1 <= began <= one.over + 6 * HOUR for one in story.tank.loads):
            return _with_film(story, began, random.uniform(0.01, 0.08))


def _film_in_fill(random: Random) -> Story:
    while True:
        story = _calm(random)
        since, until = CALM_DAYS * DAY, (CALM_DAYS + 2.0) * DAY
        loads = [one for one in story.tank.loads if since < one.at < until]
        if loads:
            load = loads[int(random.integers(len(loads)))]
            began = random.uniform(load.at, load.over + 6 * HOUR)
            return _with_film(story, began, random.uniform(0.01, 0.08))


def _creeping_fast(random: Random) -> Story:
    story = _calm(random)
    began = random.uniform(CALM_DAYS, CALM_DAYS + 2.0) * DAY
    return _with_film(story, began, 0.0, random.uniform(0.08, 0.16))


def _creeping(random: Random) -> Story:
    story = _story(random, CREEP_DAYS, every=(5.0, 14.0))
    began = story.tests[1][0] + random.uniform(0.0, 5.0) * DAY
    return _with_film(story, began, 0.0, random.uniform(0.01, 0.04))


def _tested(random: Random) -> Story:
    story = _creeping(random)
    story.tank.lost_a_month = 0.0
    return story


def _slip(random: Random) -> Story:
    return _story(
        random,
        CALM_DAYS + 2.0 + AFTER_DAYS,
        slip=(-1.0 if random.random() < 0.5 else 1.0) * random.uniform(0.0065, 0.02),
    )


def _off(
    random: Random, strength: float, mix: Callable[[], float], share: tuple[float, float]
) -> Story:
    while True:
        story = _story(random, CALM_DAYS + 2.0 + AFTER_DAYS, strength=strength, share=share)
        loads = story.tank.loads
        later = [n for n, one in enumerate(loads) if one.at > CALM_DAYS * DAY]
        if later:
            first = later[0]
            bad = loads[first]._replace(mix=mix())
            story.tank.loads = [*loads[:first], bad, *loads[first + 1 :]]
            return story._replace(began=bad.at)


def _weak(random: Random) -> Story:
    return _off(
        random,
        0.230 + 0.002 * random.standard_normal(),
        lambda: random.uniform(0.0, 0.19),
        (0.15, 0.43),
    )


def _strong(random: Random) -> Story:
    strength = random.uniform(0.245, 0.249)
    story = _off(random, strength, lambda: random.uniform(0.260, 0.263), (0.35, 0.7))
    # All fills bring what this depot's tank holds, until one is saturated.
    story.tank.loads = [
        one if one.at >= story.began else one._replace(mix=strength) for one in story.tank.loads
    ]
    return story


CASES: dict[str, Callable[[Random], Story]] = {
    "calm": _calm,
    "film-at-rest": _film_at_rest,
    "film-in-fill": _film_in_fill,
    "film-creeping-fast": _creeping_fast,
    "film-creeping": _creeping,
    "slip": _slip,
    "weak": _weak,
    "strong": _strong,
    "tested": _tested,
}


def played(case: str, seed: int, number: int, *, spoiled: bool = True) -> Played:
    """One run of a case through the engine; without its film or slip if not `spoiled`."""
    story = CASES[case](np.random.default_rng([seed, list(CASES).index(case), number]))
    return _played(case, story if spoiled else story.without())


def _played(case: str, story: Story) -> Played:
    depot = plan()
    engine = Engine({depot.id: depot})
    raised: dict[str, list[float]] = {}
    wrong, clearly, tests, off_at = list[str](), list[str](), list(story.tests), math.inf
    tested = list[float]()
    for minute, now in enumerate(story.tank.minutes(story.minutes)):
        at = START + minute * MINUTE
        entries: list[Reading | HandTest] = list(_readings(at, now))
        if tests and minute >= tests[0][0] and now.still_minutes >= HOUR:
            entries.append(_test(at, now.at_probe + tests.pop(0)[1]))
            tested.append(minute)
        if not LOW - CLEARLY <= now.whole <= HIGH + CLEARLY:
            off_at = min(off_at, minute)
        inside = min(_inside(now.whole), _inside(now.at_probe))
        for entry in entries:
            for one in engine.step(entry):
                if isinstance(one, AlarmChanged) and one.state is AlarmState.UNACKNOWLEDGED:
                    raised.setdefault(one.alarm, []).append(minute)
                    fair = now.mix - LOW if one.alarm == "fill-weak" else inside
                    if one.alarm in _OF_BRINE and fair >= 0.0:
                        wrong.append(one.alarm)
                        clearly += [one.alarm] * (fair > AT_LIMIT)
    return Played(_began(case, story.began, tested, off_at), raised, wrong, clearly, tested)


def _inside(mass_fraction: float) -> float:
    """By how much brine is inside its band; below 0: outside."""
    return min(mass_fraction - LOW, HIGH - mass_fraction)


def _began(case: str, began: float, tested: Sequence[float], off_at: float) -> float:
    """Where that shows only once a run is played."""
    if case in ("weak", "strong"):
        return off_at
    return tested[2] if case == "slip" and len(tested) > 2 else began


def _readings(at: int, now: Minute) -> Iterator[Reading]:
    for name, value in (
        ("level", now.level_m),
        ("temp", now.temperature_c),
        ("cond", now.conductivity_s_per_m),
    ):
        yield Reading(DEPOT, name, at, value, at)


def _test(at: int, mass_fraction: float) -> HandTest:
    return HandTest(
        depot=DEPOT,
        time=at,
        received=at,
        vessel=TANK,
        at=at,
        mass_fraction=round(mass_fraction, 5),
        standard_uncertainty=0.0013,
        by="yard",
    )


def by_film_or_slip(case: str, seed: int, number: int, run: Played) -> set[str]:
    """The wrong alarms of a run that are raised more often than without its film or slip."""
    if not run.wrong:
        return set()
    without = played(case, seed, number, spoiled=False)
    return set(Counter(run.wrong) - Counter(without.wrong))


def first_after(run: Played, *alarms: str) -> float:
    """Minutes from its beginning to the first of these alarms; infinite where none was raised."""
    times = [at for name in alarms for at in run.raised.get(name, ()) if at >= run.began]
    return min(times, default=math.inf) - run.began


def lines(case: str, runs: Sequence[Played], blamed: Sequence[set[str]]) -> Iterator[str]:
    """What came of a case's runs, for a terminal; `blamed` is what `by_film_or_slip` found."""
    wrong = ", ".join(f"{name} in {sum(name in one.wrong for one in runs)}" for name in _OF_BRINE)
    yield f"{case}: {len(runs)} runs, wrong: {wrong}"
    clearly = ", ".join(f"{name} in {sum(name in r.clearly for r in runs)}" for name in _OF_BRINE)
    yield f"  inside by more than {100 * AT_LIMIT:.2f} %: {clearly}"
    by_it = ", ".join(f"{name} in {sum(name in one for one in blamed)}" for name in _OF_BRINE)
    if case.startswith(("film", "slip")):
        yield f"  by the film or slip: {by_it}"
    if case in ("weak", "strong"):
        off = [one for one in runs if one.began < math.inf]
        alarms = ("brine-weak", "fill-weak") if case == "weak" else ("brine-strong",)
        yield from _quantiles(f"  of {len(off)} clearly off told", off, alarms)
        yield from _quantiles("  of them by any alarm of the strength", off, (*alarms, *_ASKED))
    elif case.startswith("film"):
        yield from _quantiles("  film named", runs, _ASKED)
        counts = [tests_to_name(one) for one in runs]
        if case == "film-creeping":
            named = ", ".join(f"{sum(n <= k for n in counts)} by test {k}" for k in (1, 2, 3, 4))
            yield f"    of {len(runs)}: {named}"
    else:
        asked = sum(first_after(one, "probe-drifted") < math.inf for one in runs)
        yield f"  probe-drifted in {asked}"


_ASKED = ("probe-drifted",)


def tests_to_name(run: Played) -> float:
    """How many tests were made from the film's beginning until it was named."""
    named = run.began + first_after(run, *_ASKED)
    made = sum(run.began <= at <= named for at in run.tests)
    return made if named < math.inf else math.inf


def _quantiles(name: str, runs: Sequence[Played], alarms: Sequence[str]) -> Iterator[str]:
    after = sorted(first_after(one, *alarms) for one in runs)
    known = [one for one in after if one < math.inf]
    said = ", ".join(
        f"{share:.0%} in {after[min(int(share * len(after)), len(after) - 1)] / HOUR:.1f} h"
        for share in (0.5, 0.9, 0.95)
        if after
    )
    yield f"{name} in {len(known)}: {said}"


def main(arguments: Sequence[str]) -> None:
    """Play the cases, and print what came of them."""
    parser = argparse.ArgumentParser(description="Films and slips against weak and strong brine")
    parser.add_argument("cases", nargs="*", metavar="CASE", help=", ".join(CASES))
    parser.add_argument("-n", "--runs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--each", action="store_true", help="a line for each run that went wrong")
    asked = parser.parse_args(arguments)
    for case in asked.cases or CASES:
        runs = [played(case, asked.seed, number) for number in range(asked.runs)]
        blamed = [by_film_or_slip(case, asked.seed, n, one) for n, one in enumerate(runs)]
        for line in lines(case, runs, blamed):
            sys.stdout.write(line + "\n")
        if asked.each:
            for number, (one, by) in enumerate(zip(runs, blamed, strict=True)):
                if one.wrong:
                    said = f"film at {one.began:.0f}, by it {sorted(by)}, {one.raised}"
                    sys.stdout.write(f"    run {number}: {said}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
