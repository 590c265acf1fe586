"""`brineward replay`: a recorded run through the same engine that runs live."""

import argparse
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import orjson

from brineward.commands.config_file import INSTALLED_CONFIG, config_and_others
from brineward.commands.replay_changes import (
    Heard,
    NoChange,
    changed_keys,
    differences,
    lines,
)
from brineward.commands.replay_changes import as_json as difference_as_json
from brineward.commands.replay_into import NotKept, ReplayedJournal
from brineward.commands.replay_journal import JournalRun, is_journal
from brineward.commands.replay_strength import StrengthFile
from brineward.commands.replay_takers import Takers
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.decode.recorded import Recording, UnreadableRecording
from brineward.engine.engine import Engine
from brineward.quantities import UnreadableQuantity, parse_quantity
from brineward.readings.entries import Delivery, Entry, Take
from brineward.readings.instants import SECOND, rfc3339_from_instant
from brineward.readings.outputs import AlarmChanged, Output, TextDue
from brineward.wording.segment import segment


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `replay` to the command line."""
    parser = subparsers.add_parser(
        "replay",
        help="the alarms that a recorded run would have raised",
        usage="%(prog)s [-h] [--acts FILE] [--change ALARM.KEY=VALUE] [--journal FILE] [--json]\n"
        "       [--texts] [--taken-after TIME] [--strength FILE.csv] [CONFIG]\n"
        "       READINGS [READINGS ...]",
        description="Plays a readings file or a journal through the alarms as the live service "
        "would have. Nobody is texted. With --change it is played as it was and as "
        "it would have been: which alarms are added, lost, earlier and later. Ends "
        "with 0; 1 if lines could not be read; 2 if a whole file could not be read.",
    )
    parser.add_argument(
        "files",
        type=Path,
        metavar="READINGS",
        nargs="+",
        help=f"first the config file, which ends in .toml (default: {INSTALLED_CONFIG}), then "
        "readings: CSV with the header time,depot,sensor,value[,received], or SenML lines; "
        "or a journal; each file is a run of its own",
    )
    parser.add_argument(
        "--acts",
        type=Path,
        metavar="FILE",
        help="what people did, one JSON object a line, for one READINGS file; default: the "
        "READINGS file with the ending .acts.jsonl, if there is one",
    )
    parser.add_argument(
        "--change",
        action="append",
        default=[],
        metavar="ALARM.KEY=VALUE",
        help="compare with another setting of an alarm, such as 'shelter-freezing.limit=2 degC', "
        "or of the brine's band, 'strength.low=21 %%'; may be given again. Alarms that people "
        "took are not taken in it: other occurrences have other numbers",
    )
    parser.add_argument(
        "--journal",
        type=Path,
        metavar="FILE",
        help="also keep the run in this new journal, which other commands read with --journal; "
        "its texts are never sent",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object for each alarm change")
    parser.add_argument(
        "--texts",
        action="store_true",
        help="with --json: also one object for each text that becomes due",
    )
    parser.add_argument(
        "--taken-after",
        metavar="TIME",
        help='as if whoever is texted took each alarm this long after the text, such as "5 min"; '
        "without it alarms are only taken as in the acts",
    )
    parser.add_argument(
        "--strength",
        type=Path,
        metavar="FILE.csv",
        help="also write each vessel's strength with its 95 %% interval, one row a minute, for "
        "one READINGS file: to compare with what is known of the run",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Replay each file from a fresh start.

    0 when all was played, 1 when lines could not be read, 2 when a file could not be.
    """
    config, files = config_and_others(args.files)
    wrong = _misasked(args, files)
    if wrong:
        print(wrong, file=sys.stderr)
        return 2
    settings = load_settings(config)
    try:
        changed = changed_keys(args.change, settings)
        after = (
            None
            if args.taken_after is None
            else parse_quantity(args.taken_after, expected="duration")
        )
    except UnreadableQuantity as why:
        print(f"--taken-after: {why}", file=sys.stderr)
        return 2
    except NoChange as why:
        print(why, file=sys.stderr)
        return 2
    other = load_settings(config, changed) if changed else None
    refused = 0
    for readings in files:
        if len(files) > 1:
            print(_heading(readings, as_json=args.json))
        try:
            refused += _play(settings, other, readings, args, after)
        except (UnreadableRecording, FileExistsError, NotKept) as why:
            print(why, file=sys.stderr)
            return 2
        except OSError as why:
            print(f"{args.strength} can't be written: {why.strerror}", file=sys.stderr)
            return 2
    return 1 if refused else 0


def _misasked(args: argparse.Namespace, files: Sequence[Path]) -> str:
    """What doesn't go together, in words; empty where all does."""
    if not files:
        return "no readings file"
    given = {"--acts": args.acts, "--strength": args.strength, "--journal": args.journal}
    alone = next((option for option, value in given.items() if value), "")
    if alone and len(files) > 1:
        return f"{alone} goes with one readings file"
    if args.change and args.strength:
        return "--strength shows one run, --change compares two: ask one at a time"
    if args.change and args.journal:
        return "--journal keeps one run, --change compares two: ask one at a time"
    if args.change and args.taken_after:
        return "--taken-after goes without --change: other occurrences have other numbers"
    return ""


def _heading(readings: Path, *, as_json: bool) -> str:
    """What says whose lines follow, where several files are played."""
    return orjson.dumps({"readings": str(readings)}).decode() if as_json else f"{readings}:"


def _play(
    settings: Settings,
    other: Settings | None,
    readings: Path,
    args: argparse.Namespace,
    taken_after: float | None,
) -> int:
    """Replay one file; how many of its lines could not be read."""
    recording = _recording(settings, readings, args.acts)
    entries = _with_progress(recording, readings)
    if other is not None:
        _compare(Engine(settings.depots), Engine(other.depots), entries, as_json=args.json)
    else:
        write = _write_json if args.json else _write_plain
        takers = None if taken_after is None else Takers(round(taken_after * SECOND))
        if takers is not None:
            entries = takers.among(entries)
        with StrengthFile(args.strength) if args.strength else nullcontext() as strengths:
            for outputs in _outputs(Engine(settings.depots), entries, args.journal):
                write(outputs, texts=args.texts or not args.json)
                if takers is not None:
                    takers.hear(outputs)
                if strengths is not None:
                    strengths.hear(outputs)
    if not args.json:
        print(f"{recording.readings:,} readings replayed.")
    for problem in recording.problems:
        print(f"{readings}: {problem}", file=sys.stderr)
    if recording.refused:
        all_of_it = recording.readings + recording.refused
        print(
            f"{readings}: {_lines(recording.refused)} of {all_of_it:,} could not be read; "
            f"the first: {recording.problems[0]}",
            file=sys.stderr,
        )
    return recording.refused


def _recording(settings: Settings, readings: Path, acts: Path | None) -> Recording | JournalRun:
    if is_journal(readings):
        return JournalRun(readings)
    if acts is None and acts_beside(readings).exists():
        acts = acts_beside(readings)
    return Recording(readings, settings.sources, acts)


def _compare(one: Engine, other: Engine, entries: Iterable[Entry], *, as_json: bool) -> None:
    before, after = Heard(), Heard()
    for entry in entries:
        if isinstance(entry, Take | Delivery):
            continue  # by its number it would be about another occurrence
        before.hear(one.step(entry))
        after.hear(other.step(entry))
    if as_json:
        for found in differences(before, after):
            sys.stdout.write(orjson.dumps(difference_as_json(found)).decode() + "\n")
    else:
        print("\n".join(lines(before, after)))


def _lines(count: int) -> str:
    return f"{count:,} line{'' if count == 1 else 's'}"


def acts_beside(readings: Path) -> Path:
    """The acts file that belongs to a readings file: the same name, ending in .acts.jsonl."""
    return readings.with_suffix(".acts.jsonl")


def _outputs(
    engine: Engine, entries: Iterable[Entry], kept_in: Path | None
) -> Iterator[tuple[Output, ...]]:
    if kept_in is None:
        yield from _stepped(engine, entries)
        return
    step = engine.step
    with ReplayedJournal(kept_in, engine) as journal:
        for entry in entries:
            outputs = step(entry)
            journal.add(entry, outputs)
            if outputs:
                yield outputs


def _stepped(engine: Engine, entries: Iterable[Entry]) -> Iterator[tuple[Output, ...]]:
    step = engine.step
    for entry in entries:
        outputs = step(entry)
        if outputs:
            yield outputs


def _with_progress(recording: Recording | JournalRun, path: Path) -> Iterator[Entry]:
    if not sys.stderr.isatty():  # it is shown only to a person
        yield from recording
        return
    from tqdm import tqdm  # noqa: PLC0415 - most replays show no bar

    size = path.stat().st_size if path.exists() else 0
    # Shown after two seconds.
    with tqdm(total=size, unit="B", unit_scale=True, delay=2, leave=False, desc="replay") as bar:
        for count, entry in enumerate(recording):
            yield entry
            if count % 20_000 == 0:
                bar.update(recording.bytes_read - bar.n)


def _write_json(outputs: tuple[Output, ...], *, texts: bool) -> None:
    for output in outputs:
        if isinstance(output, AlarmChanged):
            sys.stdout.write(orjson.dumps(change_as_json(output, outputs)).decode() + "\n")
        elif isinstance(output, TextDue) and texts:
            sys.stdout.write(orjson.dumps(text_as_json(output)).decode() + "\n")


def change_as_json(change: AlarmChanged, outputs: tuple[Output, ...]) -> dict[str, Any]:
    """One alarm change as `replay --json` prints it; `text` is what the phone gets, if anything."""
    texts = (o for o in outputs if isinstance(o, TextDue) and o.number == change.number)
    bodies = [segment(text.notice) for text in texts]
    return {
        "time": rfc3339_from_instant(change.time),
        "depot": change.depot,
        "alarm": change.alarm,
        "source": change.source,
        "state": change.state,
        "priority": change.priority,
        "value": change.value,
        "limit": change.limit,
        "unit": change.unit,
        "text": bodies[0] if bodies else change.sentence,
        "number": change.number,
        "before": change.before,
        "by": change.by,
    }


def text_as_json(text: TextDue) -> dict[str, Any]:
    """One text that falls due, as `replay --json --texts` prints it; `also` are the numbers of the
    other alarms that it tells of.
    """
    return {
        "time": rfc3339_from_instant(text.time),
        "depot": text.depot,
        "number": text.number,
        "person": text.person,
        "kind": text.kind,
        "priority": text.priority,
        "body": segment(text.notice),
        "also": list(text.notice.also),
    }


def _write_plain(outputs: tuple[Output, ...], *, texts: bool) -> None:
    for output in outputs:
        if isinstance(output, AlarmChanged):
            stamp = rfc3339_from_instant(output.time)
            print(f"{stamp}  {output.depot}  {output.alarm}: {output.state}  ({output.sentence})")
        elif isinstance(output, TextDue) and texts:
            print(f"    to {output.person}: {segment(output.notice)}")
