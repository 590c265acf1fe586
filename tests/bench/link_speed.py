"""How many messages a second take, decode and acknowledge manage, against a real mosquitto.

    python tests/bench/link_speed.py [messages]

Preloads a backlog, then takes it in batches of 500, decodes and acknowledges each. Prints, asserts
nothing.
"""

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from brineward.clock import MachineClock
from brineward.config.settings import PayloadSettings, SensorSource
from brineward.decode import Decoder
from brineward.link import Link, Message
from brineward.plant.plan import Measure
from brineward.quantities import unit_named
from brokers import Mosquitto, published
from link.linking import registered, settings_for

TOPIC = "brine/tern-hollow/main-level"
BATCH = 500


def run(broker: Mosquitto, protocol: str, count: int) -> None:
    """One backlog, one line."""
    settings = settings_for(broker.port, protocol=protocol, instance=f"bench-{protocol}")
    source = SensorSource(
        depot="tern-hollow", sensor="main-level", measures=Measure.LEVEL, topic=TOPIC,
        unit=unit_named("m"), payload=PayloadSettings(kind="json", time_key="time"),
    )  # fmt: skip
    registered(settings, [TOPIC])
    start = 1_767_225_600_000
    published(
        broker.port,
        [(TOPIC, b'{"value":2.134,"time":%d}' % (start + n)) for n in range(count)],
    )
    decoder = Decoder([source])
    link = Link(settings, [TOPIC], MachineClock())
    began, used = time.perf_counter(), time.process_time()
    link.start()
    seen = 0
    while seen < count:
        messages = [item for item in link.take(BATCH, 5.0) if isinstance(item, Message)]
        for message in messages:
            decoder.decode(message.topic, message.payload, message.received, message.retained)
        link.acknowledge(messages)
        seen += len(messages)
    seconds, used = time.perf_counter() - began, time.process_time() - used
    link.stop()
    print(
        f"MQTT {protocol}: {count / seconds:,.0f} messages/s,"
        f" {1e6 * used / count:.0f} us of processor each"
    )


if __name__ == "__main__":
    messages = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    # Preloading is not what is measured: without this the broker writes its store all the time.
    broker = Mosquitto(Path(tempfile.mkdtemp()), {"autosave_interval": "100000"})
    broker.start()
    try:
        for protocol in ("5", "3.1.1"):
            run(broker, protocol, messages)
    finally:
        broker.kill()
