"""The simulator as a separate program, playing one scenario to a broker."""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any


class NoSimulator(Exception):
    """The simulator can't be started; the operator must act."""


class Night:
    """One run of the simulator."""

    def __init__(
        self, *, scenario: str, port: int, factor: float, lead_seconds: float, truth: Path
    ) -> None:
        self._scenario = scenario
        self._port = port
        self.factor = factor
        self.lead_seconds = lead_seconds
        self._truth = truth
        self._process: subprocess.Popen[bytes] | None = None
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 - closed by `stop`
        self.failure = ""
        """What the simulator said when it ended badly."""

    def start(self) -> None:
        """Start it; its night begins after the lead. Raises: NoSimulator."""
        begin_at = time.time() + self.lead_seconds  # noqa: TID251 - the other program's clock
        command = [
            sys.executable,
            "-m",
            "brinesim.commands.main",
            "run",
            self._scenario,
            *("--port", str(self._port)),
            *("--speed", str(self.factor)),
            *("--begin-at", str(begin_at)),
            *("--truth", str(self._truth)),
        ]
        try:
            self._process = subprocess.Popen(  # noqa: S603 - our own program and our own words
                command, stdout=subprocess.DEVNULL, stderr=self._errors
            )
        except OSError as why:
            raise NoSimulator(f"the simulator does not start: {why}") from why

    def wait(self, seconds: float) -> bool:
        """Is it over? Waits this long at most to see."""
        if self._process is None:
            return True
        try:
            code = self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            return False
        if code != 0:
            self._errors.seek(0)
            self.failure = self._errors.read().decode(errors="replace").strip() or f"code {code}"
        return True

    def stop(self) -> None:
        """End it if it still runs."""
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            self._process.wait(10)
        self._errors.close()

    def truth_table(self) -> dict[str, Any]:
        """What was truly wrong, and from when."""
        table: dict[str, Any] = json.loads(self._truth.read_text(encoding="utf-8"))
        return table
