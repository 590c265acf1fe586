"""Journals and reports made for these tests."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.decode.recorded import Recording
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.readings.entries import Entry
from brineward.readings.outputs import Step
from checkout import ROOT

STANDARD = ROOT / "config" / "tern-hollow.toml"
RECORDED = ROOT / "tests" / "recorded"


def settings_with(journal: Path, tmp: Path, more: str = "") -> Settings:
    """The standard depot's settings with another journal."""
    text = STANDARD.read_text(encoding="utf-8")
    text = text.replace('path = "tern-hollow.journal"', f'path = "{journal}"')
    file = tmp / "depot.toml"
    file.write_text(text + more, encoding="utf-8")
    return load_settings(file)


def play(settings: Settings, readings: Path) -> None:
    """A recorded run, judged by the engine, into the settings' journal."""
    acts = readings.with_suffix(".acts.jsonl")
    recording = Recording(readings, settings.sources, acts if acts.exists() else None)
    engine = Engine(settings.depots)
    with Journal.open(settings.journal.path) as journal:
        for batch in batches(recording):
            journal.commit([Step(entry, tuple(engine.step(entry))) for entry in batch])


def batches(entries: Iterable[Entry], size: int = 1000) -> Iterable[Sequence[Entry]]:
    """So many at a time."""
    batch: list[Entry] = []
    for entry in entries:
        batch.append(entry)
        if len(batch) == size:
            yield batch
            batch = []
    yield batch
