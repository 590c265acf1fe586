"""From payloads to readings: the only place that knows what a sensor's bytes look like.

A payload is a bare number or word, a JSON object, or a SenML pack (RFC 8428). What can't be taken
for a reading becomes a `Refusal` with a sentence; nothing here raises for what came from outside.
"""

from brineward.decode.decoder import Decoder

__all__ = ["Decoder"]
