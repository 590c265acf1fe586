"""Verdicts that are kept: in a card, or in a file that grows run by run, over many scores."""

import json
import subprocess
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from brinesim.scoring.judging import Judged


class NotKeptError(Exception):
    """A file holds no verdicts, or those of another depot: says what was expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judging:
    """What verdicts must have in common to be summed up."""

    config: str
    sensors: tuple[str, ...]
    rough: bool
    depot: str = ""
    """Its id in the config; empty where verdicts were kept without it."""

    def check(self, other: "Judging", path: Path) -> None:
        """Can the other's verdicts be added? Raises: NotKeptError where they can't."""
        if (other.config, other.sensors) != (self.config, self.sensors):
            raise NotKeptError(
                f"{path} is of {other.config} with {len(other.sensors)} sensors, not of "
                f"{self.config} with these {len(self.sensors)}"
            )
        if self.depot and other.depot and other.depot != self.depot:
            raise NotKeptError(f"{path} is of the depot {other.depot}, not of {self.depot}")
        if other.rough is not self.rough:
            raise NotKeptError(
                f"{path} is{'' if other.rough else ' not'} rough: the two don't add up"
            )


class _Heading(BaseModel):
    """The first line of a file of runs."""

    model_config = ConfigDict(extra="forbid")

    config: str
    sensors: tuple[str, ...]
    rough: bool
    depot: str = ""

    def judging(self) -> Judging:
        return Judging(**self.model_dump())


class _Card(BaseModel):
    """What is read back of a card that was written before."""

    config: str
    sensors: tuple[str, ...]
    rough: bool
    verdicts: tuple[Judged, ...]


_VERDICT = TypeAdapter(Judged)


def card_verdicts(path: Path, judging: Judging) -> tuple[Judged, ...]:
    """The verdicts of a card that was written before.

    Raises: NotKeptError; OSError where the file can't be read.
    """
    try:
        card = _Card.model_validate_json(path.read_bytes())
    except ValidationError as wrong:
        raise NotKeptError(f"{path} is no card of a score: {_first_of(wrong)}") from wrong
    heading = _Heading(config=card.config, sensors=card.sensors, rough=card.rough)
    judging.check(heading.judging(), path)
    return card.verdicts


def added_up(parts: Sequence[tuple[Path, Sequence[Judged]]]) -> list[Judged]:
    """All verdicts of several files. Raises: NotKeptError where one run is in two of them."""
    found: dict[tuple[str, int], Path] = {}
    for path, verdicts in parts:
        for one in verdicts:
            run = (one.scenario, one.seed)
            if run in found:
                raise NotKeptError(
                    f"{one.scenario}, seed {one.seed}, is in {found[run]} and in {path}: "
                    "a run counts once"
                )
            found[run] = path
    return [one for _, verdicts in parts for one in verdicts]


class RunsFile:
    """A line a run, added as it is judged: a score that is stopped has lost nothing.

    The first line is a heading: of which config, sensors and ailments. Each other is a verdict,
    with the state of the code that it is of. One score at a time may write it.
    """

    def __init__(self, path: Path, judging: Judging) -> None:
        """Reads what is there; begins the file where it is new.

        Raises: NotKeptError; OSError where it can't be read or written.
        """
        self.path = path
        self.verdicts: list[Judged] = []
        if not path.exists() or not path.stat().st_size:
            self._write(json.dumps(asdict(judging)))
            return
        text = path.read_bytes()
        whole = text[: text.rfind(b"\n") + 1]
        lines = whole.splitlines()
        try:
            judging.check(_Heading.model_validate_json(lines[0] if lines else text).judging(), path)
        except ValidationError as wrong:
            raise NotKeptError(f"{path} is no file of runs: {_first_of(wrong)}") from wrong
        for number, line in enumerate(lines[1:], 2):
            try:
                self.verdicts.append(_VERDICT.validate_json(line))
            except ValidationError as wrong:
                raise NotKeptError(f"{path}, line {number}: {_first_of(wrong)}") from wrong
        if not whole:
            self._write("")
        elif whole != text:  # a score was killed while it wrote: that run is played again
            path.write_bytes(whole)

    def add(self, verdicts: Sequence[Judged]) -> None:
        """Keep more. Raises: OSError where the file can't be written."""
        for one in verdicts:
            self._write(json.dumps(asdict(one)))
        self.verdicts += verdicts

    def _write(self, line: str) -> None:
        with self.path.open("a", encoding="utf-8") as file:
            file.write(line + "\n")


def _first_of(wrong: ValidationError) -> str:
    first = wrong.errors()[0]
    where = ".".join(map(str, first["loc"])) or "the file"
    return f"{where}: {first['msg']}"


def code_state() -> str:
    """The commit that this code is of, with a `+` where files differ from it; else the release."""
    command = ["git", "describe", "--always", "--abbrev=10", "--dirty=+", "--exclude=*"]
    folder = Path(__file__).parent
    try:
        # Git itself, with words of ours, in the folder that this file is in.
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)  # noqa: S603 - a command that we made, without a shell
    except OSError:
        done = None
    if done is not None and done.returncode == 0:
        return done.stdout.strip()
    try:
        return version("brineward")
    except PackageNotFoundError:
        return "unknown"
