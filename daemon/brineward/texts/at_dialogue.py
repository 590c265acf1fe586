"""Asking a modem: one command, its lines, its final result; what it says unasked is kept.

Sources: 3GPP TS 27.007 clauses 4 and 9 (commands, results, +CME ERROR), 3GPP TS 27.005 clause 3
(+CMS ERROR, the prompt of +CMGS, +CMTI and +CMT).
"""

import re
from collections import deque
from collections.abc import Callable
from typing import Protocol

_ERROR = re.compile(r"(ERROR|\+CM[ES] ERROR: *(?P<code>.*))", re.ASCII)
_UNASKED = ("+CMTI:", "+CMT:", "+CDSI:", "+CBM:", "RING", "RDY", "^", "*")
_LONGEST_LINE = 4096
_END, _GIVE_UP = b"\x1a", b"\x1b"


class ModemTrouble(Exception):
    """The modem did not do what it was asked; try again later."""


class ModemRefused(ModemTrouble):
    """It answered with an error; `code` is its number, empty where it gave none."""

    def __init__(self, command: str, code: str) -> None:
        super().__init__(f"the modem refused {command}" + (f" (error {code})" if code else ""))
        self.code = code


class SerialPort(Protocol):
    """A serial port whose `read` returns what there is within its own short timeout."""

    def read(self, size: int = ..., /) -> bytes: ...
    def write(self, data: bytes, /) -> int | None: ...
    def close(self) -> None: ...


class Dialogue:
    """One modem on one open port; for one thread at a time."""

    def __init__(self, port: SerialPort, seconds_now: Callable[[], float]) -> None:
        self._port = port
        self._now = seconds_now
        self._buffer = b""
        self.unasked: deque[str] = deque(maxlen=500)
        """What it said by itself; the line behind a +CMT is the message."""
        self._message_follows = False

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def ask(self, command: str, seconds: float, *, shown: str = "") -> list[str]:
        """The lines of its answer. `shown` stands for the command where that holds a secret.

        Raises: ModemTrouble (ModemRefused where it answers with an error), OSError.
        """
        self._port.write(command.encode("ascii") + b"\r")
        return self._answer(command, shown or command, self._now() + seconds)

    def hand_over(self, command: str, body: str, seconds: float) -> list[str]:
        """A command that is followed by a body at its prompt. Raises: as `ask`."""
        end = self._now() + seconds
        self._port.write(command.encode("ascii") + b"\r")
        try:
            self._await_prompt(command, end)
            self._port.write(body.encode("ascii") + _END)
            return self._answer(command, command, end)
        except ModemTrouble:
            self._port.write(_GIVE_UP)  # it may still wait for the body
            raise

    def listen(self, seconds: float) -> None:
        """Keep what it says unasked within so many seconds. Raises: OSError."""
        end = self._now() + seconds
        while (line := self._line(end)) is not None:
            self._keep_unasked(line)

    def _answer(self, command: str, shown: str, end: float) -> list[str]:
        lines: list[str] = []
        while (line := self._line(end)) is not None:
            if line == command:
                continue  # its echo
            if line == "OK":
                return lines
            error = _ERROR.fullmatch(line)
            if error is not None:
                raise ModemRefused(shown, (error["code"] or "").strip())
            if not self._keep_unasked(line):
                lines.append(line)
        raise ModemTrouble(f"no answer of the modem to {shown}")

    def _await_prompt(self, command: str, end: float) -> None:
        while self._now() < end:
            if self._buffer.lstrip(b"\r\n ").startswith(b">"):
                self._buffer = b""
                return
            line = self._line(end, prompt=True)
            if line is None:
                continue
            error = _ERROR.fullmatch(line)
            if error is not None:
                raise ModemRefused(command, (error["code"] or "").strip())
            if line != command:
                self._keep_unasked(line)
        raise ModemTrouble(f"no prompt of the modem after {command}")

    def _keep_unasked(self, line: str) -> bool:
        """Was it said unasked?"""
        if self._message_follows or line.startswith(_UNASKED):
            self._message_follows = line.startswith("+CMT:")
            self.unasked.append(line)
            return True
        return False

    def _line(self, end: float, *, prompt: bool = False) -> str | None:
        """The next line that is not empty; None at the end of the time, or at a prompt."""
        while True:
            head, found, rest = self._buffer.partition(b"\n")
            if found:
                self._buffer = rest
                line = head.strip(b"\r\n \0").decode("ascii", "replace")
                if line:
                    return line
                continue
            if prompt and self._buffer.lstrip(b"\r\n ").startswith(b">"):
                return None
            if self._now() >= end:
                return None
            self._buffer = (self._buffer + self._port.read(256))[-_LONGEST_LINE:]
