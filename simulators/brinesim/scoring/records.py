"""How true a watchman's records are: its loads, batches and balance, held against the truth."""

import json
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from brinesim.durations import seconds_from_rfc3339
from brinesim.scenario import load_scenario
from brinesim.scoring.runs import Watched, printed_by, program
from brinesim.simulation import Simulation
from brinesim.writing import beside, write_files

RECORDED = ("loads-in-fills", "busy-week", "storm-week", "season")
"""What is played where no scenario is named."""
LEAST_BATCH_M3 = 0.1
"""A fill of less than this need not be found."""
UNDER_WAY_SECONDS = 1800.0
"""A load or a fill that ended so shortly before the run did may still be under way."""
SHARE, LEAST_M3, METERED_SHARE = 0.02, 0.02, 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsJob:
    """One run to write, replay and judge."""

    scenario: str
    seed: int
    days: float | None
    """Cut to so many days; None: as long as the scenario is."""
    watched: Watched


@dataclass(slots=True, kw_only=True)
class RecordsCard:
    """What was found of some runs."""

    loads: int = 0
    loads_found: int = 0
    loads_invented: int = 0
    errors_m3: list[float] = field(default_factory=list)
    volumes_m3: list[float] = field(default_factory=list)
    in_their_uncertainty: list[bool] = field(default_factory=list)
    """Is a volume within twice its standard uncertainty?"""
    load_strengths: list[bool] = field(default_factory=list)
    """Is a load's true strength inside its interval?"""
    batches: int = 0
    batches_found: int = 0
    batches_invented: int = 0
    batch_strengths: list[bool] = field(default_factory=list)
    salt_loaded: list[float] = field(default_factory=list)
    """By which share each run's salt is off."""
    salt_made: list[float] = field(default_factory=list)

    def add(self, other: "RecordsCard") -> None:
        """Both together."""
        for name in self.__slots__:
            setattr(self, name, getattr(self, name) + getattr(other, name))


def played(job: RecordsJob) -> RecordsCard:
    """Write the run, replay it into a journal, read its records, judge them.

    Raises: WatchmanError, ScenarioError, OSError.
    """
    changes: dict[str, Any] = {
        "seed": job.seed,
        "depot": {"id": job.watched.depot},
        "sensors": {
            name: {"fitted": name in job.watched.sensors}
            for name in load_scenario(job.scenario).sensors
        },
    }
    if job.days is not None:
        changes["duration"] = f"{job.days:g} d"
    with tempfile.TemporaryDirectory(prefix="brinesim-") as folder:
        readings, journal = Path(folder) / "run.csv", Path(folder) / "run.journal"
        write_files(Simulation(load_scenario(job.scenario, changes)), readings, progress=False)
        truth = json.loads(beside(readings, ".truth.json").read_text(encoding="utf-8"))
        _run(["replay", job.watched.config, str(readings), "--json", "--journal", str(journal)])
        said = {
            name: _rows([name, job.watched.config, "--journal", str(journal), "--json"], truth)
            for name in ("loads", "batches", "balance")
        }
    return judged(truth, said)


def _rows(words: Sequence[str], truth: Mapping[str, Any]) -> list[dict[str, Any]]:
    printed = _run([*words, "--since", truth["start"], "--until", truth["end"]])
    return [json.loads(line) for line in printed.splitlines()]


def _run(words: Sequence[str]) -> str:
    return printed_by([*program("brineward"), *words])


def judged(
    truth: Mapping[str, Any], said: Mapping[str, Sequence[Mapping[str, Any]]]
) -> RecordsCard:
    """The records of one run against its truth."""
    card = RecordsCard()
    _judge_loads(card, truth, said["loads"])
    _judge_batches(card, truth, said["batches"])
    for balance in said["balance"]:
        _judge_balance(card, truth, balance)
    return card


def _over(truth: Mapping[str, Any], spells: Sequence[Mapping[str, Any]]) -> Iterator[Any]:
    """The spells that were over well before the run ended."""
    end = seconds_from_rfc3339(truth["end"])
    return (one for one in spells if seconds_from_rfc3339(one["ended"]) < end - UNDER_WAY_SECONDS)


def _overlap(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    ended = [seconds_from_rfc3339(two["ended"]) if two["ended"] else np.inf for two in (one, other)]
    return (
        seconds_from_rfc3339(one["began"]) < ended[1]
        and seconds_from_rfc3339(other["began"]) < ended[0]
    )


def _judge_loads(
    card: RecordsCard, truth: Mapping[str, Any], loads: Sequence[Mapping[str, Any]]
) -> None:
    for true in _over(truth, truth["loads"]):
        card.loads += 1
        mine = [load for load in loads if load["ended"] and _overlap(load, true)]
        if not mine:
            continue
        card.loads_found += 1
        volume = sum(load["volume_m3"] for load in mine)
        error = volume - true["volume_m3"]
        card.errors_m3.append(error)
        card.volumes_m3.append(true["volume_m3"])
        doubt = sum(load["volume_standard_uncertainty_m3"] for load in mine)
        card.in_their_uncertainty.append(abs(error) <= 2 * doubt)
        if mine[0]["interval_95"]:
            low, high = mine[0]["interval_95"]
            card.load_strengths.append(low <= true["strength"] <= high)
    for load in loads:
        card.loads_invented += not any(_overlap(load, true) for true in truth["loads"])


def _judge_batches(
    card: RecordsCard, truth: Mapping[str, Any], batches: Sequence[Mapping[str, Any]]
) -> None:
    for true in _over(truth, truth["fills"]):
        if true["volume_m3"] < LEAST_BATCH_M3:
            continue
        card.batches += 1
        card.batches_found += any(_overlap(batch, true) for batch in batches)
    seconds = np.array(truth["series"]["seconds"]) + seconds_from_rfc3339(truth["start"])
    strengths = np.array(truth["series"]["main_strength"])
    for batch in batches:
        card.batches_invented += not any(_overlap(batch, true) for true in truth["fills"])
        if batch["ended"] and batch["interval_95"]:
            true_strength = float(
                np.interp(seconds_from_rfc3339(batch["ended"]), seconds, strengths)
            )
            low, high = batch["interval_95"]
            card.batch_strengths.append(low <= true_strength <= high)


def _judge_balance(card: RecordsCard, truth: Mapping[str, Any], balance: Mapping[str, Any]) -> None:
    before, after = truth["stocks"]
    loaded = after["loaded_salt_kg"] - before["loaded_salt_kg"]
    lost = after["lost_salt_kg"] - before["lost_salt_kg"]
    made = after["main_salt_kg"] - before["main_salt_kg"] + loaded + lost
    if loaded > 0:
        card.salt_loaded.append(balance["salt_loaded_kg"][0] / loaded - 1)
    if made > 0 and not balance["under_way"]:
        card.salt_made.append(balance["salt_made_kg"][0] / made - 1)


def play_all(jobs: Sequence[RecordsJob], *, processes: int) -> Iterator[RecordsCard]:
    """The cards in the order of the jobs, several at once. Raises: what `played` raises."""
    with ProcessPoolExecutor(max_workers=processes) as pool:
        yield from pool.map(played, jobs)


def _share(found: Sequence[bool]) -> str:
    if not found:
        return "none"
    return f"{100 * sum(found) / len(found):.1f} % of {len(found)}"


def records_table(name: str, card: RecordsCard) -> str:
    """A card as plain text."""
    errors, volumes = np.array(card.errors_m3), np.array(card.volumes_m3)
    lines = [
        name,
        f"  loads found {card.loads_found} of {card.loads}, invented {card.loads_invented}",
    ]
    if errors.size:
        allowed = np.maximum(SHARE * volumes, LEAST_M3)
        shares = errors / volumes
        mean, about = 100 * shares.mean(), 100 * shares.std()
        within = (np.abs(errors) <= allowed).tolist()
        metered = np.maximum(METERED_SHARE * volumes, LEAST_M3)
        nearer = (np.abs(errors) <= metered).tolist()
        closer = (np.abs(shares) <= METERED_SHARE).tolist()
        lines += [
            f"    volume within 2 % or 20 L: {_share(within)}",
            f"    within 1 % or 20 L: {_share(nearer)}; within 1 %: {_share(closer)}",
            f"    off by {mean:+.2f} % in the mean, {about:.2f} % about it",
            f"    within twice their standard uncertainty: {_share(card.in_their_uncertainty)}",
            f"    strength inside its interval: {_share(card.load_strengths)}",
        ]
    lines += [
        f"  batches found {card.batches_found} of {card.batches}, invented {card.batches_invented}",
        f"    strength inside its interval: {_share(card.batch_strengths)}",
    ]
    for what, off in (("loaded", card.salt_loaded), ("made", card.salt_made)):
        if off:
            worst = max(off, key=abs)
            lines.append(
                f"  salt {what}: off by {100 * float(np.mean(off)):+.2f} % in the mean of "
                f"{len(off)} runs, by {100 * worst:+.2f} % at the most"
            )
    return "\n".join(lines)
