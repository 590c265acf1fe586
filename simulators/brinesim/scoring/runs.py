"""Seeded runs: written by the simulator, replayed by the watchman as a program of its own."""

import json
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from brinesim.fault_kinds import KINDS
from brinesim.scenario import ScenarioError, load_scenario, scenario_names
from brinesim.scoring.judging import UNSEEN, Judged, judge
from brinesim.simulation import Simulation
from brinesim.writing import beside, write_files

FAULT_FREE = ("quiet-week", "busy-week", "deep-cold", "thaw-and-rain")


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
    """One run to make and judge."""

    scenario: str
    seed: int
    watched: Watched
    rough: bool


def watched_by(config: Path, depot: str | None = None) -> Watched:
    """The depot, and its sensors, that a config file declares; the first where none is named.

    Raises: WatchmanError where the file can't be read or has no such depot.
    """
    try:
        depots = tomllib.loads(config.read_text(encoding="utf-8")).get("depots", {})
    except (OSError, tomllib.TOMLDecodeError) as wrong:
        raise WatchmanError(f"{config}: {wrong}") from wrong
    name = depot or next(iter(depots), "")
    if name not in depots:
        raise WatchmanError(
            f"{config}: no depot {name!r}; there are: {', '.join(depots) or 'none'}"
        )
    return Watched(
        config=str(config.resolve()), depot=name, sensors=tuple(depots[name].get("sensors", {}))
    )


def scored_scenarios() -> list[str]:
    """The scenarios that are scored where none is named: every fault with an alarm, and quiet."""
    names = []
    for name in scenario_names():
        faults = load_scenario(name).faults
        if len(faults) == 1 and KINDS[faults[0].kind].alarm and faults[0].kind not in UNSEEN:
            names.append(name)
    return [*names, *FAULT_FREE]


def program(name: str) -> list[str]:
    """The command that runs the watchman: one on the path, or one beside this Python."""
    beside_python = Path(sys.executable).with_name(name)
    found = str(beside_python) if beside_python.exists() else shutil.which(name)
    if found is None:
        raise WatchmanError(f"there is no program {name!r} on the path")
    return [found]


def run_job(job: Job) -> Judged:
    """Write one run, replay it, judge it.

    Raises: WatchmanError where the watchman fails; ScenarioError; OSError.
    """
    fitted = {
        name: {"fitted": name in job.watched.sensors}
        for name in load_scenario(job.scenario).sensors
    }
    changes = {
        "seed": job.seed,
        "depot": {"id": job.watched.depot},
        "sensors": fitted,
        "rough": 2.0 if job.rough else 1.0,
    }
    with tempfile.TemporaryDirectory(prefix="brinesim-") as folder:
        readings = Path(folder) / "readings.csv"
        write_files(Simulation(load_scenario(job.scenario, changes)), readings, progress=False)
        truth = json.loads(beside(readings, ".truth.json").read_text(encoding="utf-8"))
        said = _replayed(job.watched.config, readings)
    return judge(truth, said, seed=job.seed)


def _replayed(config: str, readings: Path) -> list[dict[str, Any]]:
    command = [*program("brineward"), "replay", config, str(readings), "--json", "--texts"]
    # The command is this project's own program, with paths that this process chose.
    done = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603
    if done.returncode:
        raise WatchmanError(
            f"{' '.join(command)} ended with {done.returncode}: {done.stderr[-800:]}"
        )
    try:
        return [json.loads(line) for line in done.stdout.splitlines() if line.strip()]
    except json.JSONDecodeError as wrong:
        raise WatchmanError(f"the watchman printed a line that is no JSON: {wrong}") from wrong


def run_jobs(jobs: Sequence[Job], *, processes: int) -> Iterator[Judged]:
    """The verdicts in the order of the jobs, several made at once.

    Raises: what `run_job` raises; ScenarioError before any run where a scenario is unknown.
    """
    known = set(scenario_names())
    for job in jobs:
        if job.scenario not in known and not Path(job.scenario).is_file():
            raise ScenarioError(f"there is no scenario {job.scenario!r}")
    with ProcessPoolExecutor(max_workers=processes) as pool:
        yield from pool.map(run_job, jobs)
