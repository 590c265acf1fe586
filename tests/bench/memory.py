"""Memory of `brineward run` at rest, connected, with the large example config.

    python tests/bench/memory.py [seconds]

Prints the resident set and what of it is its own, asserts nothing.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import psutil

from brokers import Listener, Mosquitto, published, until

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


def main(seconds: float) -> None:
    """Start it, let it take a few readings, wait, look."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder / "broker")
        broker.start()
        config = folder / "tern-hollow.toml"
        config.write_text(CONFIG.read_text().replace("port = 1883", f"port = {broker.port}"))
        listener = Listener(broker.port, ["brine/brineward/brineward/state"])
        command = [sys.executable, "-m", "brineward", "run", str(config)]
        with (folder / "log").open("wb") as log:
            service = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            until(lambda: any(b'"online"' in raw for _, raw, _ in listener.heard), 20)
            now = time.time_ns() // 1_000_000
            topics = ("main-level", "main-conductivity", "main-temperature", "shelter-temperature")
            readings = [
                (f"brine/tern-hollow/{topic}", b'{"value":1.5,"time":%d}' % (now + 10 * n))
                for n in range(50)
                for topic in topics
            ]
            published(broker.port, readings)
            time.sleep(seconds)
            found = psutil.Process(service.pid).memory_full_info()
            print(
                f"at rest after {seconds:g} s: {found.rss / 1e6:.1f} MB resident,"
                f" {found.uss / 1e6:.1f} MB its own"
            )
        finally:
            listener.close()
            service.terminate()
            service.wait(20)
            broker.kill()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 15.0)
