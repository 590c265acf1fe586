"""How long another sensor waits while one floods: link, decoder and gate, against mosquitto.

    python tests/bench/flood.py [seconds]

A child process publishes on one topic as fast as the broker takes it, with QoS 1; another sensor
sends its time ten times a second. Prints how many came, how many were read, and the longest time
from sending to reading, in each five seconds. Asserts nothing; engine and journal are not in it.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from brineward.clock import MachineClock
from brineward.config.settings import PayloadSettings, SensorSource
from brineward.decode import Decoder
from brineward.decode.floods import FloodGate
from brineward.link import Link, Message
from brineward.plant.plan import Measure
from brineward.quantities import unit_named
from brineward.readings.values import Reading
from brokers import Mosquitto
from link.linking import registered, settings_for

FLOODED, OTHER = "brine/tern-hollow/flooded", "brine/tern-hollow/other"
SENDER = """
import sys, time
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
client = Client(CallbackAPIVersion.VERSION2)
client.max_inflight_messages_set(2000)
client.connect("127.0.0.1", int(sys.argv[1]))
client.loop_start()
end = time.time() + float(sys.argv[2])
while time.time() < end:
    if sys.argv[3] == "flood":
        client.publish(sys.argv[4], b"1", 1).wait_for_publish() if client._out_messages.__len__() \\
            > 1500 else client.publish(sys.argv[4], b"1", 1)
    else:
        client.publish(sys.argv[4], b'{"value":1,"time":%d}' % (time.time() * 1000), 1)
        time.sleep(0.1)
"""


def source(topic: str) -> SensorSource:
    """A level on this topic."""
    return SensorSource(
        depot="tern-hollow", sensor=topic.rsplit("/", 1)[1], measures=Measure.LEVEL, topic=topic,
        unit=unit_named("m"), payload=PayloadSettings(kind="any"),
    )  # fmt: skip


def main(seconds: float) -> None:
    """Flood, look, print."""
    broker = Mosquitto(Path(tempfile.mkdtemp()), {"autosave_interval": "1000000"})
    broker.start()
    senders: list[subprocess.Popen[bytes]] = []
    link = Link(settings_for(broker.port), [FLOODED, OTHER], MachineClock())
    try:
        registered(settings_for(broker.port), [FLOODED, OTHER])
        link.start()
        for kind, topic in (("flood", FLOODED), ("calm", OTHER)):
            call = [sys.executable, "-c", SENDER, str(broker.port), str(seconds), kind, topic]
            senders.append(subprocess.Popen(call))
        decoder = Decoder([source(FLOODED), source(OTHER)], FloodGate())
        began = time.monotonic()
        for _ in range(int(seconds // 5)):
            came = read = 0
            worst = 0.0
            began += 5
            while time.monotonic() < began:
                messages = [m for m in link.take(500, 0.25) if isinstance(m, Message)]
                for message in messages:
                    results = decoder.decode(
                        message.topic, message.payload, message.received, message.retained
                    )
                    came += 1
                    for one in results:
                        read += isinstance(one, Reading)
                        if isinstance(one, Reading) and message.topic == OTHER:
                            worst = max(worst, time.time() - one.time / 1000)
                link.acknowledge(messages)
            print(f"{came / 5:,.0f} a second came, {read / 5:,.0f} read, worst wait {worst:.2f} s")
    finally:
        for sender in senders:
            sender.wait()
        link.stop()
        broker.kill()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0)
