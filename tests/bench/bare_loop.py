"""The bare loop that the live path is held against: a program of its own, run by live_path.py.

paho, orjson and a batched insert into a table of series and time, acknowledged in batches, and
nothing else. One thread, written to and read from by hand, since that was the quickest of those
tried: with the library's own thread it took 2.5 times as long.

    python tests/bench/bare_loop.py FOLDER PORT TOPIC,TOPIC,... COUNT
"""

import select
import sqlite3
import sys
import time
from pathlib import Path
from typing import Any

import orjson
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

BATCH = 500


def drain(folder: Path, port: int, topics: list[str], count: int) -> None:
    """Drain the queue and print the seconds that it took."""
    db = sqlite3.connect(folder / "bare.db", isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute(
        "CREATE TABLE reading (series INTEGER, time INTEGER, value REAL,"
        " PRIMARY KEY (series, time)) WITHOUT ROWID"
    )
    series = {topic: number for number, topic in enumerate(topics)}
    arrived: list[Any] = []
    client = Client(CallbackAPIVersion.VERSION2, "bare", protocol=MQTTv5, manual_ack=True)
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = BATCH
    client.on_message = lambda _client, _userdata, message: arrived.append(message)
    client.on_socket_register_write = lambda *_: None
    client.connect("127.0.0.1", port, clean_start=False, properties=properties)
    began = time.perf_counter()
    done = 0
    while done < count:
        if client.want_write():
            client.loop_write()
        ready, _, _ = select.select([client.socket()], [], [], 1.0)
        before = -1
        while ready and len(arrived) < BATCH and len(arrived) != before:
            before = len(arrived)
            client.loop_read()
        client.loop_misc()
        if not arrived:
            continue
        rows = []
        for message in arrived:
            reading = orjson.loads(message.payload)
            rows.append((series[message.topic], reading["time"], reading["value"]))
        db.execute("BEGIN IMMEDIATE")
        db.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?)", rows)
        db.execute("COMMIT")
        for message in arrived:
            client.ack(message.mid, 1)
        done += len(arrived)
        arrived.clear()
    print(time.perf_counter() - began)
    client.disconnect()


if __name__ == "__main__":
    drain(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3].split(","), int(sys.argv[4]))
