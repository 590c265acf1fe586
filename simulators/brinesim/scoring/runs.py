"""Seeded runs: written by the simulator, replayed by the watchman as a program of its own."""

import json
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Collection, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from brinesim.fault_kinds import KINDS
from brinesim.scenario import Scenario, ScenarioError, load_scenario, scenario_names
from brinesim.scoring.judging import Judged, judge
from brinesim.scoring.kept_runs import code_state
from brinesim.simulation import Simulation
from brinesim.writing import beside, write_files

FAULT_FREE = ("quiet-week", "busy-week", "storm-week", "deep-cold", "thaw-and-rain", "bad-line")
TOGETHER_SECONDS = 2 * 86400.0
"""Short runs are replayed together, so many seconds of depot time by one start of the program."""
MOST_TOGETHER = 10
TAKEN_AFTER = "5 min"
"""Whoever is texted first answers after this, by day and by night (a guess)."""


class WatchmanError(Exception):
    """The watchman's program could not be run, or said what can't be judged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """The depot that a watchman's config declares: its id, and the sensors that it knows."""

    config: str
    depot: str
    sensors: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """Some runs of one scenario to make and judge."""

    scenario: str
    seeds: tuple[int, ...]
    watched: Watched
    rough: bool


def watched_by(config: Path, depot: str | None = None) -> Watched:
    """The depot, and its sensors, that a config file declares; the first where none is named.

    Raises: WatchmanError where the file can't be read or has no such depot.
    """
    try:
        depots = tomllib.loads(config.read_text(encoding="utf-8")).get("depots", {})
    except (OSError, ValueError, RecursionError) as wrong:
        raise WatchmanError(f"{config}: {wrong}") from wrong
    if not isinstance(depots, dict):
        raise WatchmanError(f"{config}: depots is no table")
    name = depot or next(iter(depots), "")
    if name not in depots:
        raise WatchmanError(
            f"{config}: no depot {name!r}; there are: {', '.join(depots) or 'none'}"
        )
    own = depots[name].get("sensors", {}) if isinstance(depots[name], dict) else None
    if not isinstance(own, dict):
        raise WatchmanError(f"{config}: depots.{name} is no depot with a table of sensors")
    return Watched(config=str(config.resolve()), depot=name, sensors=tuple(own))


def scored_scenarios() -> list[str]:
    """The scenarios that are scored where none is named: every fault with an alarm, and quiet."""
    names = []
    for name in scenario_names():
        faults = load_scenario(name).faults
        if len(faults) == 1 and KINDS[faults[0].kind].alarm:
            names.append(name)
    return [*names, *FAULT_FREE]


def program(name: str) -> list[str]:
    """The command that runs the watchman: one on the path, or one beside this Python."""
    beside_python = Path(sys.executable).with_name(name)
    found = str(beside_python) if beside_python.exists() else shutil.which(name)
    if found is None:
        raise WatchmanError(f"there is no program {name!r} on the path")
    return [found]


def printed_by(command: Sequence[str]) -> str:
    """What a command of the watchman printed; 1 is its exit code where something is wrong.

    Raises: WatchmanError where it could not do what it was asked, or broke off: a Python program
    that broke off ends with 1 as well, and what it left out would count as missed.
    """
    # The command is this project's own program, with paths that this process chose.
    done = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603 - a command that we made, without a shell
    if done.returncode not in (0, 1) or "Traceback (most recent call last)" in done.stderr:
        raise WatchmanError(
            f"{' '.join(command)} ended with {done.returncode}: {done.stderr[-800:]}"
        )
    return done.stdout


def jobs_for(
    names: Sequence[str],
    watched: Watched,
    *,
    seeds: range,
    quiet_seeds: range,
    rough: bool,
    known: Collection[tuple[str, int]] = (),
) -> list[Job]:
    """The jobs of these scenarios: `quiet_seeds` of those without a fault, `seeds` of the others.

    Runs that are `known` by scenario and seed are left out.

    Raises: ScenarioError before any run where a scenario is unknown or wrong, or two have one name.
    """
    jobs = []
    named: dict[str, str] = {}
    for name in dict.fromkeys(names):
        scenario = load_scenario(name)
        if named.setdefault(scenario.name, name) != name:
            raise ScenarioError(
                f"{named[scenario.name]} and {name} are both named {scenario.name!r}, by which "
                "runs are kept apart"
            )
        wanted = seeds if scenario.faults else quiet_seeds
        numbers = [seed for seed in wanted if (scenario.name, seed) not in known]
        size = min(MOST_TOGETHER, max(1, int(TOGETHER_SECONDS / scenario.duration)))
        jobs += [
            Job(scenario=name, seeds=tuple(numbers[i : i + size]), watched=watched, rough=rough)
            for i in range(0, len(numbers), size)
        ]
    return jobs


def run_job(job: Job) -> list[Judged]:
    """Write the runs, replay them, judge each.

    Raises: WatchmanError where the watchman fails; ScenarioError; OSError.
    """
    with tempfile.TemporaryDirectory(prefix="brinesim-") as folder:
        files = [Path(folder) / f"{seed}.csv" for seed in job.seeds]
        for seed, readings in zip(job.seeds, files, strict=True):
            write_files(Simulation(_scenario(job, seed)), readings, progress=False)
        said = _replayed(job.watched.config, files)
        code = code_state()
        return [
            replace(
                judge(
                    json.loads(beside(readings, ".truth.json").read_text(encoding="utf-8")),
                    said[readings],
                    seed=seed,
                ),
                code=code,
            )
            for seed, readings in zip(job.seeds, files, strict=True)
        ]


def _scenario(job: Job, seed: int) -> Scenario:
    """The scenario with this seed, and the sensors that the watchman's config has."""
    sensors = load_scenario(job.scenario).sensors
    changes = {
        "seed": seed,
        "depot": {"id": job.watched.depot},
        "sensors": {name: {"fitted": name in job.watched.sensors} for name in sensors},
        "rough": 2.0 if job.rough else 1.0,
    }
    return load_scenario(job.scenario, changes)


def _replayed(config: str, files: Sequence[Path]) -> dict[Path, list[dict[str, Any]]]:
    """What the watchman says of each file."""
    names = [str(file) for file in files]
    command = [*program("brineward"), "replay", config, *names, "--json", "--texts"]
    command += ["--taken-after", TAKEN_AFTER]
    said: dict[Path, list[dict[str, Any]]] = {file: [] for file in files}
    current = files[0]
    try:
        for line in printed_by(command).splitlines():
            change = json.loads(line)
            if "readings" in change:
                current = Path(change["readings"])
            else:
                said[current].append(change)
    except json.JSONDecodeError as wrong:
        raise WatchmanError(f"the watchman printed a line that is no JSON: {wrong}") from wrong
    return said


def run_jobs(jobs: Sequence[Job], *, processes: int) -> Iterator[list[Judged]]:
    """The verdicts in the order of the jobs, several jobs at once.

    Raises: what `run_job` raises.
    """
    with ProcessPoolExecutor(max_workers=processes) as pool:
        yield from pool.map(run_job, jobs)
