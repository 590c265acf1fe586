"""What the costliest payloads cost the decoder: milliseconds, and memory at the worst moment.

    python tests/bench/payloads.py

Prints, asserts nothing. Each payload is as long as its kind may be, and made to be as dear as it
can: keys that stand twice, records by the thousand, names that unfold, nesting.
"""

import sys
import time
import tracemalloc
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from brineward.decode import Decoder
from decode.costly_payloads import COSTLY, sources
from decode.decoding import ARRIVED


def main() -> None:
    """One line a payload, then 400 of the dearest pack as one batch."""
    decoder = Decoder(sources())
    print(f"{'payload':34} {'bytes':>7} {'ms':>8} {'peak kB':>8}  results")
    for name, (topic, payload) in COSTLY.items():
        best = float("inf")
        for _ in range(5):
            began = time.perf_counter()
            results = decoder.decode(topic, payload, ARRIVED, False)
            best = min(best, time.perf_counter() - began)
            count = len(results)
            del results
        tracemalloc.start()
        decoder.decode(topic, payload, ARRIVED, False)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        print(f"{name:34} {len(payload):7} {1e3 * best:8.3f} {peak / 1e3:8.0f}  {count}")
    topic, payload = COSTLY["a pack of all the records allowed"]
    tracemalloc.start()
    kept = [decoder.decode(topic, payload, ARRIVED, False) for _ in range(400)]
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    count = sum(map(len, kept))
    print(f"400 such packs, their {count} readings kept: {peak / 1e6:.0f} MB at most")


if __name__ == "__main__":
    main()
