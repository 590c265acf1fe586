"""`brineward replay --strength FILE.csv`: each strength with its interval, minute by minute."""

import csv
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Final

from brineward.readings.instants import MINUTE, rfc3339_from_instant
from brineward.readings.outputs import Derived, Output

COLUMNS: Final = ("time", "depot", "vessel", "mass_fraction", "low_95", "high_95", "calibrated")
_ENDING: Final = "-strength"


class StrengthFile:
    """Writes one row a minute and vessel: the first strength that was worked out in that minute."""

    def __init__(self, path: Path) -> None:
        """Raises: OSError where the file can't be written."""
        self._file = path.open("w", encoding="utf-8", newline="")
        self._rows = csv.writer(self._file, lineterminator="\n")
        self._rows.writerow(COLUMNS)
        self._written: dict[tuple[str, str], int] = {}
        """The minute that was last written, by depot and vessel."""

    def __enter__(self) -> "StrengthFile":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def hear(self, outputs: Iterable[Output]) -> None:
        """Write what is new of it. Raises: OSError."""
        for output in outputs:
            if isinstance(output, Derived) and output.name.endswith(_ENDING):
                self._take(output)

    def _take(self, found: Derived) -> None:
        vessel = found.name.removesuffix(_ENDING)
        place, minute = (found.depot, vessel), found.time // MINUTE
        if self._written.get(place) == minute:
            return
        self._written[place] = minute
        self._rows.writerow(
            (
                rfc3339_from_instant(found.time),
                found.depot,
                vessel,
                found.value,
                found.low_95,
                found.high_95,
                "true" if found.calibrated else "false",
            )
        )
