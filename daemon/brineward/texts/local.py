"""Channels of the machine itself: texts shown on the console or appended to a file."""

import json
import os
import sys
import textwrap
from typing import TextIO

from brineward.clock import Clock
from brineward.config.settings import ConsoleChannel, FileChannel
from brineward.readings.instants import rfc3339_from_instant
from brineward.texts.attempts import Accepted, Failed, Outcome
from brineward.texts.senders import OutgoingText
from brineward.wording.segment import segment

_WIDTH = 40


class ConsoleSender:
    """Prints texts as a phone would show them."""

    def __init__(self, channel: ConsoleChannel, out: TextIO | None = None) -> None:
        self._channel = channel
        self._out = out

    def send(self, text: OutgoingText) -> Outcome:
        """Print the text in a frame."""
        out = self._out or sys.stdout
        picture = framed(text)
        encoding = out.encoding or "utf-8"
        try:
            out.write(picture.encode(encoding, "replace").decode(encoding))
            out.flush()
        except (OSError, ValueError) as error:  # ValueError: the console has been closed
            return Failed(why=f"channel {self._channel.id}: the console took nothing ({error})")
        return Accepted(receipt="shown")


class FileSender:
    """Appends texts to a file, one JSON object a line, safe on the disk before it says so."""

    def __init__(self, channel: FileChannel, clock: Clock) -> None:
        self._channel = channel
        self._clock = clock

    def send(self, text: OutgoingText) -> Outcome:
        """Append the text and wait until the disk has it."""
        line = json.dumps(
            {
                "time": rfc3339_from_instant(self._clock.now()),
                "id": text.key,
                "attempt": text.attempt,
                "depot": text.depot,
                "number": text.number,
                "kind": text.kind,
                "priority": str(text.priority),
                "name": text.name,
                "address": text.address,
                "body": segment(text.notice),
            },
            ensure_ascii=False,
        )
        path = self._channel.path
        try:
            with path.open("ab+") as lines:
                end = lines.seek(0, os.SEEK_END)
                if end:
                    lines.seek(end - 1)
                    if lines.read(1) != b"\n":  # a line was cut off by a crash: leave it behind
                        lines.write(b"\n")
                lines.write(line.encode("utf-8", "replace") + b"\n")
                lines.flush()
                os.fsync(lines.fileno())
        except OSError as error:
            why = f"channel {self._channel.id}: {path} can't be written: {error.strerror}"
            return Failed(why=why)
        return Accepted(receipt="written")


def framed(text: OutgoingText) -> str:
    """The text as a phone would show it, in a frame of plain characters."""
    to = " ".join(part for part in (text.name, text.address) if part)
    lines = [f"to {to}"[:_WIDTH]]
    lines += [
        line
        for paragraph in segment(text.notice).splitlines()
        for line in textwrap.wrap(paragraph, _WIDTH) or [""]
    ]
    visible = ["".join(sign if sign.isprintable() else "?" for sign in line) for line in lines]
    rule = "-" * (_WIDTH + 2)
    inside = "".join(f"  | {line:<{_WIDTH}} |\n" for line in visible)
    return f"  .{rule}.\n{inside}  '{rule}'\n"
