"""A made-up cellular modem on a pseudo-terminal, for tests: it answers as 3GPP TS 27.005 and 27.007
say, and misbehaves to order. Messages that it was given are kept as the network would have them."""

import os
import pty
import re
import select
import threading
import tty
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Self


@dataclass
class Faults:
    """What is wrong with it; changed at any time."""

    mute: bool = False
    """It answers nothing at all."""
    registration: str = "1"
    pin: str = ""
    """What the SIM card asks; the right PIN clears it."""
    puk: bool = False
    no_sim: bool = False
    send_error: str = ""
    """The answer to a message, such as "+CMS ERROR: 322"."""
    send_silent: int = 0
    """So many messages are taken without a word."""
    no_prompt: bool = False
    echo: bool = False
    chatty: bool = False
    """It says other things in the middle of its answers."""


@dataclass
class FakeModem:
    """Use it as a context; `port` is the path of its serial port."""

    faults: Faults = field(default_factory=Faults)

    def __post_init__(self) -> None:
        """It has a pseudo-terminal of its own."""
        self._ours, theirs = pty.openpty()
        tty.setraw(theirs)
        self.port = os.ttyname(theirs)
        self._theirs = theirs
        self.sent: list[tuple[str, str]] = []
        """What AT+CMGS was told, and the message."""
        self.asked: list[str] = []
        self.stored: dict[int, str] = {}
        self.stamps: dict[int, str] = {}
        """When each was sent, as text mode writes it; now, where nothing else is said."""
        self.pins: list[str] = []
        self._over = threading.Event()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._text_mode = False

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    def unplug(self) -> None:
        """Pulled out: the port is gone."""
        if not self._over.is_set():
            self._over.set()
            self._thread.join()
            os.close(self._ours)
            os.close(self._theirs)

    def arrive(self, octets: str, *, announce: bool = True, stamp: str = "") -> int:
        """A message comes in and is stored; where, counted from 1.

        `stamp` is the service centre's in text mode; in PDU mode the octets hold their own.
        """
        with self._lock:
            place = max(self.stored, default=0) + 1
            self.stored[place] = octets
            self.stamps[place] = stamp or f"{datetime.now(UTC):%y/%m/%d,%H:%M:%S}+00"
        if announce:
            self._say(f'+CMTI: "SM",{place}')
        return place

    def push(self, octets: str) -> None:
        """A message comes in and is handed on directly."""
        self._say(f"+CMT: ,{len(octets) // 2}")
        self._say(octets)

    def _say(self, line: str) -> None:
        os.write(self._ours, f"\r\n{line}\r\n".encode())

    def _serve(self) -> None:
        buffer = b""
        while not self._over.is_set():
            if not select.select([self._ours], [], [], 0.02)[0]:
                continue
            try:
                buffer += os.read(self._ours, 4096)
            except OSError:  # the port is not open just now
                self._over.wait(0.02)
                continue
            while b"\r" in buffer:
                command, _, buffer = buffer.partition(b"\r")
                buffer = self._answer(command.strip(b"\x1b\n ").decode("ascii"), buffer)

    def _answer(self, command: str, buffer: bytes) -> bytes:
        if not command or self.faults.mute:
            return buffer
        self.asked.append(command)
        if self.faults.echo:
            os.write(self._ours, command.encode() + b"\r")
        if self.faults.chatty:
            self._say("RING")
        if command.startswith("AT+CMGS="):
            return self._take(command, buffer)
        for line in self._lines(command):
            self._say(line)
        return buffer

    def _lines(self, command: str) -> list[str]:
        for begin, answer in self._answers.items():
            if command.startswith(begin):
                return answer(command.partition("=")[2])
        known = re.fullmatch(r"ATE0|AT\+CMEE=1|AT\+CNMI=.*|AT\+CSCS=.*|AT\+CSMP=.*", command)
        return ["OK"] if known else ["ERROR"]

    @property
    def _answers(self) -> dict[str, Callable[[str], list[str]]]:
        return {
            "AT+CPIN?": lambda _: self._card(),
            "AT+CPIN=": self._try_pin,
            "AT+CREG?": lambda _: [f"+CREG: 0,{self.faults.registration}", "OK"],
            "AT+CSQ": lambda _: ["+CSQ: 17,99", "OK"],
            "AT+CMGF=": self._choose_mode,
            "AT+CMGL=": lambda _: [*self._listed(), "OK"],
            "AT+CMGD=": self._delete,
        }

    def _card(self) -> list[str]:
        if self.faults.no_sim:
            return ["+CME ERROR: 10"]
        state = "SIM PUK" if self.faults.puk else "SIM PIN" if self.faults.pin else "READY"
        return [f"+CPIN: {state}", "OK"]

    def _try_pin(self, quoted: str) -> list[str]:
        self.pins.append(quoted.strip('"'))
        if self.pins[-1] != self.faults.pin:
            return ["+CME ERROR: 16"]
        self.faults.pin = ""
        return ["OK"]

    def _choose_mode(self, mode: str) -> list[str]:
        self._text_mode = mode == "1"
        return ["OK"]

    def _delete(self, place: str) -> list[str]:
        self.stored.pop(int(place), None)
        return ["OK"]

    def _listed(self) -> list[str]:
        with self._lock:
            rows = sorted(self.stored.items())
        found: list[str] = []
        for place, octets in rows:
            if self._text_mode:
                sender, text = octets.split("|")
                hexed = [one.encode("utf-16-be").hex().upper() for one in (sender, text)]
                found += [f'+CMGL: {place},"REC UNREAD","{hexed[0]}",,"{self.stamps[place]}"']
                found.append(hexed[1])
            else:
                found += [f"+CMGL: {place},0,,{len(octets) // 2 - 1}", octets]
        return found

    def _take(self, command: str, buffer: bytes) -> bytes:
        if self.faults.no_prompt:
            return buffer
        os.write(self._ours, b"\r\n> ")
        while b"\x1a" not in buffer and b"\x1b" not in buffer and not self._over.is_set():
            if select.select([self._ours], [], [], 0.02)[0]:
                buffer += os.read(self._ours, 4096)
        body, _, rest = buffer.partition(b"\x1a")
        if self.faults.send_silent:
            self.faults.send_silent -= 1
            return rest
        if self.faults.send_error:
            self._say(self.faults.send_error)
            return rest
        self.sent.append((command.split("=", 1)[1], body.decode("ascii")))
        self._say(f"+CMGS: {len(self.sent)}")
        self._say("OK")
        return rest
