"""The clock is set; the way to the phone fails."""

import random
import threading
import time
from pathlib import Path

from faults.measuring.stand import Measured, stand
from gateways import Answer

HERE = Path(__file__).parents[1]


def clock_set(folder: Path, times: int) -> Measured:
    """The service's clock is set while the pump runs against the closed valve, each time again."""
    draw = random.Random(times)
    ahead = folder / "ahead"
    ahead.write_text("0")
    options = {
        "program": [str(HERE / "set_clock.py")],
        "environment": {"CLOCK_AHEAD_FILE": str(ahead)},
        "dangers": False,
    }
    with stand(folder, **options) as s:
        for number in range(times):
            # From three seconds to 400 days, as often small as large, back as often as ahead.
            far = round(3_000 * (400 * 86_400_000 / 3_000) ** draw.random())
            new = ahead.with_name("new")
            new.write_text(str(0 if number % 3 == 2 else far if number % 2 else -far))
            threading.Timer(0.5, new.replace, [ahead]).start()
            s.danger.once()
            time.sleep(3.0)
        s.danger.start()
        said = s.service.log.count("clock was set by")
        return s.measured(
            "clock set",
            "by 3 s to 400 days, back and ahead, half a second into the danger",
            times,
            note=f"noticed and logged {said} times",
        )


FAULTS = ("none", "reset", "close", "garbage", "hang", "dribble headers", "cut", "503")


def gateway_fails(folder: Path, times: int) -> Measured:
    """Each text's first attempt meets another fault of the gateway."""
    with stand(folder, dangers=False) as s:
        told = []
        for number in range(times):
            fault = FAULTS[number % len(FAULTS)]
            bad = Answer(status=503) if fault == "503" else Answer(fault=fault)
            s.gateway.script(bad)
            before = len(s.gateway.asked)
            began = time.monotonic()
            s.danger.once()
            # It is told when the first request is answered well: the one after the bad one.
            wanted = before + (1 if fault == "none" else 2)
            while len(s.gateway.asked) < wanted and time.monotonic() < began + 120:
                time.sleep(0.02)
            told.append(time.monotonic() - began)
            time.sleep(3.0)
        s.danger.start()
        measured = s.measured(
            "gateway fails",
            "the first attempt of each text: reset, closed, garbage, hangs, dribbles, cut, 503",
            times,
            told=told,
            note="texted: when the gateway was asked again; doubled: asked twice under one key, by "
            "which a gateway drops repeats",
        )
        measured.told = told
        return measured
