"""The broker fails: killed, its queue full, the session taken over."""

import time
from pathlib import Path

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from brineward.journal.session import LinkSession
from faults.measuring.stand import Measured, stand


def killed(folder: Path, times: int) -> Measured:
    """The broker is killed with -9 and started again two seconds later."""
    with stand(folder) as s:
        for _ in range(times):
            s.broker.kill()
            time.sleep(2.0)
            s.broker.start()
            s.recover()
            time.sleep(3.0)
        return s.measured("broker killed", "`kill -9`, back after 2 s", times)


def overflowing(folder: Path, times: int) -> Measured:
    """The service is away until the broker's queue has long been full."""
    most = 300
    broker = {"max_queued_messages": str(most), "sys_interval": "1"}
    with stand(folder, broker=broker, every="1 s", silent_after="3 s", dangers=False) as s:
        for _ in range(times):
            time.sleep(12.0)  # the broker's count is noted at a sign of life, every ten seconds
            s.service.stop()
            time.sleep(25.0)
            s.service.start()
            s.recover()
            s.danger.once()
            time.sleep(65.0)  # missing readings are told a minute after the outage
        s.danger.start()
        log = s.service.log
        told = "the broker dropped" in log
        missing = log.count("readings-missing depot: unacknowledged")
        return s.measured(
            "broker's queue overflows",
            f"the service away for 25 s, room for {most} messages of 875",
            times,
            note=f"the broker's count was reported: {'yes' if told else 'no'}; "
            f"`readings-missing` raised {missing} times",
        )


def taken_over(folder: Path, times: int) -> Measured:
    """Another client with the service's id: the two throw each other out, for so many seconds."""
    with stand(folder) as s:
        client_id = f"brineward-{LinkSession(s.service.journal).mark}"
        thief = Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTv5)
        thief.reconnect_delay_set(1, 1)
        thief.connect("127.0.0.1", s.broker.port)
        thief.loop_start()
        time.sleep(times)
        thief.disconnect()
        thief.loop_stop()
        s.recover()
        return s.measured(
            "session taken over",
            "another client with the service's id connects again every second",
            times,
            note=f"for {times} s",
        )
