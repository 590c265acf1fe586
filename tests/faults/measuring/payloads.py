"""Payloads: hostile, far too many, and such as end the process."""

import random
import subprocess
import sys
import time
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from faults.measuring.stand import Measured, Stand, stand
from faults.test_hostile_flood import _hostile as hostile_payload
from services import topic

HERE = Path(__file__).parents[1]
VICTIM = "spare-level"
"""Who the payloads come from; what it says itself is left out of the count."""

_FLOODER = """
import socket, sys, threading, time
topic, end = sys.argv[3].encode(), time.time() + float(sys.argv[2])
broker = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
broker.sendall(b"\\x10\\x13\\x00\\x04MQTT\\x04\\x02\\x00\\x3c\\x00\\x07flooder")
def listen():
    while broker.recv(65536):
        pass
threading.Thread(target=listen, daemon=True).start()
head = bytes((0x32, 2 + len(topic) + 2 + 3)) + len(topic).to_bytes(2, "big") + topic
sent = 0
while time.time() < end:
    ids = (1 + (sent + n) % 65535 for n in range(100))
    broker.sendall(b"".join(head + number.to_bytes(2, "big") + b"1.2" for number in ids))
    sent += 100
print(sent)
"""
"""QoS 1 as fast as the broker takes it from its socket, whatever its acknowledgements say."""


def _without_victim(s: Stand) -> None:
    s.source.values.pop(VICTIM, None)


def hostile(folder: Path, times: int) -> Measured:
    """So many payloads that are no reading, as fast as the broker confirms them."""
    draw = random.Random(times)
    with stand(folder) as s:
        client = Client(CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", s.broker.port)
        client.loop_start()
        for number in range(times):
            info = client.publish(topic(VICTIM), hostile_payload(draw), 1)
            if number % 20 == 19:
                info.wait_for_publish(30)
        info.wait_for_publish(30)
        s.recover()
        time.sleep(2.0)
        client.disconnect()
        client.loop_stop()
        refused = sum(one.count for one in s.service.ask(lambda r: r.refusals.counts()))
        traceback = "Traceback" in s.service.log
        return s.measured(
            "hostile payloads",
            "deep, huge, broken, of the wrong kind, up to 65 KB each",
            times,
            note=f"{refused:,} refused and counted{'; A TRACEBACK' if traceback else ''}",
        )


def flood(folder: Path, times: int) -> Measured:
    """One topic as fast as the broker takes it, for so many seconds."""
    return _flood(folder, times, "flood of one sensor", {})


def flood_through_a_fast_broker(folder: Path, times: int) -> Measured:
    """The same through a broker that hardly ever saves: it passes on a hundred times as much."""
    fast = {"autosave_interval": "1000000"}
    return _flood(folder, times, "flood, the broker not saving", fast)


def _flood(folder: Path, times: int, name: str, broker: dict[str, str]) -> Measured:
    with stand(folder, broker=broker) as s:
        _without_victim(s)
        call = [sys.executable, "-c", _FLOODER, str(s.broker.port), str(times), topic(VICTIM)]
        done = subprocess.run(call, capture_output=True, text=True, check=True)
        s.recover()
        time.sleep(1.0)
        counts = s.service.ask(lambda r: r.refusals.counts())
        unread = sum(1 for one in counts if one.reason == "too-many")
        return s.measured(
            name,
            "bare numbers on one topic, as fast as the broker takes them from its socket",
            times,
            note=f"{int(done.stdout):,} messages handed to the broker in {times} s; "
            f"{'reported as a flood' if unread else 'not reported as a flood'}",
        )


def deadly(folder: Path, times: int) -> Measured:
    """A payload that ends the process where it is read (a fault that is put into the decoder)."""
    with stand(folder, program=[str(HERE / "deadly_decoder.py")]) as s:
        for number in range(times):
            s.source.say_bytes("pump-current", b"")
            s.source.say_bytes(VICTIM, b"DEADLY %d" % number)
            time.sleep(0.3)
            s.recover()
            time.sleep(5.0)
        ends = len(s.service.kept.ends)
        return s.measured(
            "payload that ends the process",
            "set aside after it has ended the process three times",
            times,
            note=f"the process ended {ends} times",
        )
