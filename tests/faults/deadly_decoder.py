"""`brineward` with a fault: a payload that holds the word DEADLY ends the process on the spot."""

import os
import sys

from brineward.commands.main import main
from brineward.decode.decoder import Decoder
from brineward.readings.instants import Instant
from brineward.readings.values import Reading, Refusal

_decode = Decoder.decode


def _deadly(
    self: Decoder, topic: str, payload: bytes, received: Instant, retained: bool
) -> list[Reading | Refusal]:
    if b"DEADLY" in payload:
        os._exit(9)
    return _decode(self, topic, payload, received, retained)


Decoder.decode = _deadly  # type: ignore[method-assign]
sys.exit(main(sys.argv[1:]))
