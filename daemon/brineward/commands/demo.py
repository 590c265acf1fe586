"""`brineward demo`: one winter night in a minute and a half, on this machine alone.

The real service with the real journal and a real broker; only the sensors, the phone and the
pace are made up.
"""

import argparse
import logging
import sys
import threading
from dataclasses import replace
from pathlib import Path

from tqdm import tqdm

from brineward.clock import CompressedClock
from brineward.commands.demo_night import Night, NoSimulator
from brineward.commands.demo_page import demo_page
from brineward.commands.demo_story import Story
from brineward.config.load import load_settings
from brineward.config.settings import ConsoleChannel, Settings
from brineward.link.embedded import EmbeddedBroker, NoEmbeddedBroker
from brineward.readings.instants import SECOND, instant_from_rfc3339
from brineward.service.service import House, serve
from brineward.service.worker import Pace

SCENARIO = "winter-night"
NIGHT_BEGINS = instant_from_rfc3339("2026-01-15T00:00:00Z")
NIGHT_SECONDS = (11 * 60 + 50) * 60.0
LEAD_SECONDS = 4.0
"""Real seconds for the simulator to start before its night begins."""
EARLY_SECONDS = 0.03
"""The simulator publishes readings that fall due together a little early: by so much our clock is
ahead of its, or they would come from the future."""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `demo` to the command line."""
    parser = subparsers.add_parser(
        "demo",
        help="a winter night in a minute and a half, with nothing else installed",
        description="Plays a made-up winter night at a made-up depot through the real service: "
        "a broker inside this program, a simulator, the journal, the alarms and the texts.",
    )
    parser.add_argument(
        "--seconds", type=float, default=85.0, help="how long the night takes (default %(default)s)"
    )
    parser.add_argument(
        "--folder",
        type=Path,
        default=Path("brineward-demo"),
        help="where its files go (default %(default)s)",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play the night; exit code 0 when each of its faults was raised once, 1 otherwise."""
    logging.basicConfig(level=logging.ERROR, format="%(message)s", stream=sys.stderr)
    if not 5 <= args.seconds <= 86_400:
        print("--seconds: a night takes between 5 seconds and a day", file=sys.stderr)
        return 2
    try:
        folder = _new_folder(args.folder)
    except OSError as why:
        print(
            f"The night's files can't be put into {args.folder.absolute()}: {why.strerror}; name a "
            "folder with --folder, or start this where you may write",
            file=sys.stderr,
        )
        return 2
    settings = demo_settings(folder)
    factor = NIGHT_SECONDS / args.seconds
    try:
        with EmbeddedBroker() as broker:
            settings = replace(settings, link=broker.reached_by(settings.link))
            return _play(settings, folder, factor)
    except (NoEmbeddedBroker, NoSimulator) as why:
        print(why, file=sys.stderr)
        return 2


def demo_settings(folder: Path) -> Settings:
    """Tern Hollow's example config, its texts on the screen and its journal in `folder`."""
    settings = load_settings(example_config("tern-hollow.toml"))
    channels = {name: ConsoleChannel(id=name) for name in settings.channels}
    journal = replace(settings.journal, path=folder / "tern-hollow.journal")
    return replace(settings, channels=channels, journal=journal)


def example_config(name: str) -> Path:
    """An example config: as installed, or in the checkout that this runs from."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "examples" / name
    return installed if installed.exists() else package.parents[1] / "config" / name


def _new_folder(wanted: Path) -> Path:
    """A folder for one night's files; an earlier night's are never touched."""
    number = 1
    while (wanted / f"night-{number}").exists():
        number += 1
    folder = wanted / f"night-{number}"
    folder.mkdir(parents=True)
    return folder


def _play(settings: Settings, folder: Path, factor: float) -> int:
    lead = LEAD_SECONDS - EARLY_SECONDS
    clock = CompressedClock(start=NIGHT_BEGINS, factor=factor, lead_seconds=lead)
    story = Story(settings, clock)
    night = Night(
        scenario=SCENARIO,
        port=settings.link.port,
        factor=factor,
        lead_seconds=LEAD_SECONDS,
        truth=folder / "truth.json",
    )
    stop = threading.Event()
    story.begin(factor)
    night.start()
    watcher = threading.Thread(target=_until_over, args=(night, story, stop), daemon=True)
    watcher.start()
    # A laptop may stop for breath: time keeps some real seconds behind what is on its way.
    pace = Pace(
        clock_may_be_set=False,
        patience_seconds=0.05,
        tick_behind=round(3 * factor * SECOND),
        live=round(2 * factor * SECOND),
        stall_seconds=1.0 * factor,
        quiet_seconds=3.0 * factor,
        noise_seconds=30.0 * factor,
        patience_for_link=round(10 * factor * SECOND),
    )
    topics = tuple(f"brine/{depot}/+" for depot in settings.depots)
    house = House(clock=clock, pace=pace, on_steps=story.show, upkeep=False, topics=topics)
    try:
        with demo_page(settings, clock):
            serve(settings, stop, house)
    finally:
        night.stop()
        story.end()
    watcher.join(timeout=5)
    if night.failure:
        print(f"The simulator stopped early: {night.failure}", file=sys.stderr)
        return 1
    return story.summary(folder, night.truth_table())


def _until_over(night: Night, story: Story, stop: threading.Event) -> None:
    """Wait for the simulator's end and for the last readings to be through, then stop."""
    total = night.lead_seconds + NIGHT_SECONDS / night.factor
    with tqdm(total=round(total), unit="s", leave=False, disable=None, desc="night") as bar:
        while not night.wait(1.0):
            bar.update(1)
    story.wait_until_quiet()
    stop.set()
