"""What a score is judged from, made by hand: a truth, alarms, and verdicts."""

from typing import Any

from brinesim.scoring.judging import Catch, Judged


def truth(**changes: object) -> dict[str, object]:
    fault = {
        "kind": "heater-failed",
        "alarm": "shelter-freezing",
        "alarms": ["shelter-freezing", "power-gone"],
        "sensor": "",
        "names": [],
        "every": None,
        "band": None,
        "onset": "2026-01-15T02:00:00Z",
        "wrong_from": "2026-01-15T02:00:00Z",
        "mended": "2026-01-15T05:00:00Z",
        "harm": "2026-01-15T03:30:00Z",
        **changes,
    }
    return {
        "scenario": "heater-failed",
        "start": "2026-01-15T00:00:00Z",
        "end": "2026-01-16T00:00:00Z",
        "faults": [fault],
        "pump_starts": ["2026-01-15T01:30:00Z", "2026-01-15T02:20:00Z", "2026-01-15T04:00:00Z"],
        "slips": ["2026-01-15T20:00:00Z"],
        "batches": [
            {"end": "2026-01-15T01:00:00Z", "strength": 0.195},
            {"end": "2026-01-15T02:40:00Z", "strength": 0.214},
            {"end": "2026-01-15T03:20:00Z", "strength": 0.208},
        ],
    }


def alarm(
    hour: str,
    name: str = "shelter-freezing",
    state: str = "unacknowledged",
    source: str = "shelter",
) -> dict[str, str]:
    return {"time": f"2026-01-15T{hour}:00Z", "alarm": name, "state": state, "source": source}


def catch(kind: str, **changes: Any) -> Catch:
    values: dict[str, Any] = {
        "scenario": "x",
        "seed": 1,
        "kind": kind,
        "alarm": "x",
        "sensor": "",
        "caught": True,
        "by": "x",
        "delay_seconds": 4.0,
        "lead_seconds": None,
        "harm_was_due": False,
        "room_seconds": None,
        "every_seconds": None,
        "clearly_off": False,
        "since_batch_seconds": None,
        "since_start_seconds": None,
    }
    return Catch(**{**values, **changes})


def quiet(alarms: tuple[str, ...], texts: int) -> Judged:
    return Judged(
        scenario="quiet-week",
        seed=1,
        days=7.0,
        catches=(),
        false_alarms=alarms,
        other_alarms=(),
        slips_noticed=0,
        texts=texts,
        repeats=0,
    )
