"""`brinesim`: plays, writes and draws scenarios of a made-up brine depot."""

import argparse
import json
import math
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from tqdm import tqdm

from brinesim.depot_units import DepotUnits, depot_units
from brinesim.durations import seconds_from_text
from brinesim.publish import BrokerAwayError, Route, run_scenario
from brinesim.scenario import Scenario, ScenarioError, load_scenario, scenario_names
from brinesim.scoring.card import as_values, card_of, draw_card, table
from brinesim.scoring.kept_runs import Judging, NotKeptError, RunsFile, added_up, card_verdicts
from brinesim.scoring.records import RECORDED, RecordsCard, RecordsJob, play_all, records_table
from brinesim.scoring.runs import (
    WatchmanError,
    jobs_for,
    run_jobs,
    scored_scenarios,
    watched_by,
)
from brinesim.simulation import Simulation
from brinesim.sources import as_markdown, origins
from brinesim.writing import write_files


def _whole(least: int, most: int = 10**9) -> Callable[[str], int]:
    """Reads a whole number within these, else says what was expected."""

    def read(text: str) -> int:
        try:
            number = int(text)
        except ValueError:
            number = least - 1
        if not least <= number <= most:
            up_to = f" to {most}" if most < 10**9 else " or more"
            raise argparse.ArgumentTypeError(f"{text!r}: expected a whole number, {least}{up_to}")
        return number

    return read


def _number(least: float) -> Callable[[str], float]:
    """Reads a number that is no less, else says what was expected."""

    def read(text: str) -> float:
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not (math.isfinite(number) and number >= least):
            raise argparse.ArgumentTypeError(f"{text!r}: expected a number, {least:g} or more")
        return number

    return read


def _file(text: str) -> Path:
    """A file to be written at the end, hours later: its folder must be there now."""
    path = Path(text)
    if not path.parent.is_dir() or path.is_dir():
        raise argparse.ArgumentTypeError(f"{text!r}: expected a file in a folder that there is")
    return path


def _topic(text: str) -> str:
    try:
        sample = text.format(depot="depot", sensor="sensor")
    except (LookupError, ValueError, AttributeError):
        sample = "+"
    if not sample or "+" in sample or "#" in sample:
        raise argparse.ArgumentTypeError(
            f"{text!r}: expected a topic without + or #, in which only {{depot}} and {{sensor}} "
            "stand for names"
        )
    return text


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="brinesim", description="A brine depot on a laptop: made-up readings with their truth."
    )
    commands = parser.add_subparsers(dest="command", required=True)

    run = commands.add_parser("run", help="publish a scenario over MQTT")
    _add_scenario(run)
    run.add_argument("--host", default="127.0.0.1")
    run.add_argument("--port", type=_whole(1, 65535), default=1883)
    run.add_argument(
        "--speed",
        type=_number(0.0),
        default=1.0,
        metavar="FACTOR",
        help="480: a night in a minute and a half; 0: flat out (default 1)",
    )
    run.add_argument("--topic", type=_topic, default="brine/{depot}/{sensor}")
    run.add_argument(
        "--payload",
        choices=("object", "number"),
        default="object",
        help="a JSON object with value and time, or a bare number",
    )
    run.add_argument("--retain", action="store_true", help="publish retained messages")
    run.add_argument(
        "--will",
        action="store_true",
        help="keep online/offline on brine/<depot>/state by the MQTT last will",
    )
    run.add_argument(
        "--now", action="store_true", help="stamp readings as if the scenario began now"
    )
    run.add_argument(
        "--begin-at",
        type=_number(0.0),
        metavar="SECONDS",
        help="begin at this time, in seconds since 1970, so that another clock can stay in step",
    )
    run.add_argument(
        "--truth",
        type=_file,
        metavar="FILE",
        help="write the truth when it is over, in the scenario's own times",
    )
    run.set_defaults(action=_run)

    write = commands.add_parser("write", help="write readings, acts and truth as files")
    _add_scenario(write)
    write.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.csv")
    write.add_argument("--quiet", action="store_true", help="no progress bar")
    write.set_defaults(action=_write)

    plot = commands.add_parser("plot", help="draw a scenario as a picture")
    _add_scenario(plot)
    plot.add_argument("-o", "--output", type=Path, metavar="FILE", help="default SCENARIO.png")
    plot.add_argument(
        "--alarms",
        type=Path,
        metavar="FILE",
        help="alarm changes as `brineward replay --json` prints them",
    )
    plot.add_argument(
        "--config",
        type=Path,
        help="brineward's config: its depot's units and time zone (default metric, UTC)",
    )
    plot.set_defaults(action=_plot)

    score = commands.add_parser(
        "score", help="how well the alarms of a config catch the faults, over many seeds"
    )
    score.add_argument("config", type=Path, help="brineward's config; the depot gets its sensors")
    score.add_argument("scenarios", nargs="*", help="default: every fault with an alarm, and quiet")
    score.add_argument("--depot", help="which depot of the config (default: its first)")
    score.add_argument(
        "--seeds",
        type=_whole(0),
        default=20,
        metavar="N",
        help="seeds of each scenario (default 20)",
    )
    score.add_argument(
        "--quiet-seeds",
        type=_whole(0),
        metavar="N",
        help="seeds of each scenario without a fault, a week each (default: as --seeds)",
    )
    score.add_argument("--first-seed", type=_whole(0), default=1, metavar="SEED")
    score.add_argument("--processes", type=_whole(1), default=2, metavar="N")
    score.add_argument(
        "--rough",
        action="store_true",
        help="double every imperfection of sensors, delivery and people",
    )
    score.add_argument(
        "--add",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="also count the runs of a card that --json wrote before, without playing them again; "
        "may be given again",
    )
    score.add_argument(
        "--runs",
        type=Path,
        metavar="FILE.jsonl",
        help="write each run's verdict here as soon as it is judged, and play only the runs that "
        "are not here yet: a score that was stopped continues where it was",
    )
    score.add_argument("--json", type=_file, metavar="FILE", help="also write the card as JSON")
    score.add_argument("--plot", type=_file, metavar="FILE.png", help="also draw the card")
    score.set_defaults(action=_score)
    _add_records(commands)

    names = commands.add_parser("list", help="list the scenarios")
    names.set_defaults(action=_list)

    origin = commands.add_parser("sources", help="where every number of the simulator comes from")
    origin.set_defaults(action=_sources)
    return parser


def _add_scenario(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scenario", help="a name from `brinesim list`, or a .toml file")
    parser.add_argument("--seed", type=_whole(0), help="another seed than the scenario's")
    parser.add_argument("--duration", metavar="TIME", help='stop after this much time: "2 h"')
    parser.add_argument(
        "--rough",
        action="store_true",
        help="double every imperfection of sensors, delivery and people",
    )


def _scenario(arguments: argparse.Namespace) -> Scenario:
    changes: dict[str, Any] = {}
    if arguments.seed is not None:
        changes["seed"] = arguments.seed
    if arguments.duration is not None:
        try:
            seconds_from_text(arguments.duration)
        except ValueError as wrong:
            raise ScenarioError(f"--duration: {wrong}") from wrong
        changes["duration"] = arguments.duration
    if arguments.rough:
        changes["rough"] = 2.0
    return load_scenario(arguments.scenario, changes)


def _run(arguments: argparse.Namespace) -> None:
    scenario = _scenario(arguments)
    route = Route(
        host=arguments.host,
        port=arguments.port,
        topic=arguments.topic,
        payload=arguments.payload,
        retain=arguments.retain,
        will=arguments.will,
    )
    shift = time.time_ns() // 1_000_000 - scenario.start_ms if arguments.now else 0
    played = run_scenario(
        scenario,
        route,
        speed=arguments.speed,
        shift_ms=shift,
        begin_at=arguments.begin_at,
        kept=lambda simulation: _keep_truth(simulation, arguments.truth),
    )
    print(f"{scenario.title}: {played.readings} readings in {played.seconds:.0f} s")


def _keep_truth(simulation: Simulation, path: Path | None) -> None:
    if path is not None:
        path.write_text(json.dumps(simulation.truth.as_table(), indent=1) + "\n", encoding="utf-8")


def _write(arguments: argparse.Namespace) -> None:
    simulation = Simulation(_scenario(arguments))
    count = write_files(simulation, arguments.output, progress=not arguments.quiet)
    print(f"{count} readings in {arguments.output}")


def _plot(arguments: argparse.Namespace) -> None:
    # matplotlib is only needed here, takes half a second, and is not in every installation.
    from brinesim import plot  # noqa: PLC0415 - an extra

    scenario = _scenario(arguments)
    target = arguments.output or Path(f"{scenario.name}.png")
    try:
        alarms = plot.alarm_lines(arguments.alarms) if arguments.alarms else []
    except plot.NoAlarmsError as wrong:
        raise ScenarioError(str(wrong)) from wrong
    units = depot_units(arguments.config, scenario.depot.id) if arguments.config else DepotUnits()
    try:
        plot.draw(Simulation(scenario), target, alarms, units)
    except ValueError as wrong:  # an unknown kind of picture
        raise ScenarioError(f"{target} can't be drawn: {wrong}") from wrong
    print(f"drawn to {target}")


def _score(arguments: argparse.Namespace) -> None:
    watched = watched_by(arguments.config, arguments.depot)
    first = arguments.first_seed
    quiet = arguments.seeds if arguments.quiet_seeds is None else arguments.quiet_seeds
    shared = {"config": arguments.config.name, "sensors": watched.sensors, "rough": arguments.rough}
    judging = Judging(**shared, depot=watched.depot)
    kept = RunsFile(arguments.runs, judging) if arguments.runs else None
    parts = [(path, card_verdicts(path, judging)) for path in arguments.add]
    judged = added_up([*parts, (kept.path, kept.verdicts)] if kept else parts)
    jobs = jobs_for(
        arguments.scenarios or scored_scenarios(),
        watched,
        seeds=range(first, first + arguments.seeds),
        quiet_seeds=range(first, first + quiet),
        rough=arguments.rough,
        known={(one.scenario, one.seed) for one in judged},
    )
    with tqdm(
        total=sum(len(job.seeds) for job in jobs), unit="run", desc="score", disable=None
    ) as bar:
        for verdicts in run_jobs(jobs, processes=arguments.processes):
            judged += verdicts
            if kept:
                kept.add(verdicts)
            bar.update(len(verdicts))
    card = card_of(judged, **shared)
    print(table(card))
    if arguments.json:
        text = json.dumps(as_values(card, judged), indent=1)
        arguments.json.write_text(text + "\n", encoding="utf-8")
    if arguments.plot:
        try:
            draw_card(card, judged, arguments.plot)
        except ValueError as wrong:  # an unknown kind of picture
            raise NotKeptError(f"{arguments.plot} can't be drawn: {wrong}") from wrong


def _add_records(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    records = commands.add_parser(
        "records", help="how accurate the loads, batches and balance of a config are"
    )
    records.add_argument("config", type=Path, help="brineward's config; the depot gets its sensors")
    records.add_argument("scenarios", nargs="*", help=f"default: {', '.join(RECORDED)}")
    records.add_argument("--depot", help="which depot of the config (default: its first)")
    records.add_argument(
        "--seeds", type=_whole(0), default=3, metavar="N", help="seeds of each scenario (default 3)"
    )
    records.add_argument("--first-seed", type=_whole(0), default=1, metavar="SEED")
    records.add_argument(
        "--days", type=_number(0.01), metavar="N", help="cut each run to this many days"
    )
    records.add_argument("--processes", type=_whole(1), default=2, metavar="N")
    records.set_defaults(action=_records)


def _records(arguments: argparse.Namespace) -> None:
    watched = watched_by(arguments.config, arguments.depot)
    whole = RecordsCard()
    names = arguments.scenarios or RECORDED
    jobs = [
        RecordsJob(scenario=name, seed=seed, days=arguments.days, watched=watched)
        for name in names
        for seed in range(arguments.first_seed, arguments.first_seed + arguments.seeds)
    ]
    for place, card in enumerate(play_all(jobs, processes=arguments.processes)):
        whole.add(card)
        print(records_table(f"{jobs[place].scenario}, seed {jobs[place].seed}", card), flush=True)
    if len(jobs) > 1:
        print(records_table(f"all {len(jobs)} runs with {arguments.config.name}", whole))


def _list(arguments: argparse.Namespace) -> None:
    for name in scenario_names():
        print(f"{name:32} {load_scenario(name).title}")


def _sources(arguments: argparse.Namespace) -> None:
    print(as_markdown(origins()))


def run(words: Sequence[str] | None = None) -> int:
    """Run one command; 0, or 2 with a sentence where it could not do what was asked."""
    arguments = _parser().parse_args(words)
    try:
        arguments.action(arguments)
    except (ScenarioError, BrokerAwayError, WatchmanError, NotKeptError, OSError) as wrong:
        print(f"brinesim: {wrong}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    return 0
