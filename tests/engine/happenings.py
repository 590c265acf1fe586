"""Made-up pasts of a depot, for properties that hold whatever happened."""

from typing import Any, get_args

from hypothesis import strategies as st

from brineward.readings.by_hand import Remark, SaltDelivered, Struck
from brineward.readings.entries import (
    Answer,
    ClockStepped,
    Delivery,
    Entry,
    Handling,
    HandlingKind,
    HandRecord,
    HandTest,
    LinkChanged,
    ModeSet,
    ServiceTrouble,
    Started,
    StruckTest,
    Take,
    Tick,
)
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.values import Reading, Refusal, TimedBy
from depots import DEPOT, START

VALUES: dict[str, list[float | None]] = {
    "level": [0.0, 0.2, 2.19, 2.2, 2.21, 2.27, 2.3, 2.39, 3.0, None],
    "cond": [0.0, 1.0, 14.0, 15.5, 17.3, 18.0, 30.0, 99.0, None],
    "temp": [-25.0, -5.0, 0.0, 9.0, 10.0, 11.0, None],
    "shelter": [-1.0, 0.0, 2.9, 3.1, 5.0, 8.0, None],
    "running": [0.0, 1.0],
    "valve": [0.0, 1.0],
}
GAPS = [0.0, 0.5, 3.0, 10.0, 10.0, 30.0, 61.0, 121.0, 400.0, 4000.0]
LAGS = [0.0, 0.0, 0.0, 1.0, 50.0, 130.0, 700.0, -60.0, -500.0]
STEPS = [-3600, 3600, 15, -15, 7200, 400 * 86_400]
PEOPLE = ["yard", "dispatch", "nobody"]

NAMED = [
    {"alarm": "sensor-silent", "source": "level"},
    {"alarm": "shelter-freezing", "source": "shelter"},
    {"alarm": "no-such", "source": "alarm"},
]


@st.composite
def happenings(draw: st.DrawFn, *, clock_set: bool = False) -> list[Entry]:
    """Readings good, bad, late and early, acts, the link, texts; perhaps a clock that is set.

    Times are what this machine's clock shows.
    """
    found: list[Entry] = []
    now, shows = START, START
    for _ in range(draw(st.integers(1, 60))):
        gap = round(draw(st.sampled_from(GAPS)) * SECOND)
        now, shows = now + gap, shows + gap
        if clock_set and draw(st.integers(0, 11)) == 0:
            by = draw(st.sampled_from([*STEPS, (now - shows) // SECOND])) * SECOND
            shows += by
            found.append(ClockStepped(time=shows, by=by))
        found.append(draw(_entry(now, shows)))
        tests = [one for one in found if isinstance(one, HandTest)]
        if tests and draw(st.integers(0, 5)) == 0:
            found.append(_struck(draw(st.sampled_from(tests)), shows))
    return found


def _struck(test: HandTest, now: Instant) -> StruckTest:
    shown = round(test.mass_fraction, 6)
    return StruckTest(
        depot=DEPOT, time=now, received=now, vessel=test.vessel, at=test.at, mass_fraction=shown
    )


@st.composite
def _entry(draw: st.DrawFn, now: Instant, shows: Instant) -> Entry:
    """`now` by the sensors' clocks, while ours shows another time."""
    kind = draw(st.integers(0, 20))
    if kind < 14:
        name = draw(st.sampled_from(sorted(VALUES)))
        value = draw(st.sampled_from(VALUES[name]))
        if kind == 13:
            return Reading(DEPOT, name, shows, value, shows, timed_by=TimedBy.ARRIVAL)
        lag = round(draw(st.sampled_from(LAGS)) * SECOND)
        asks = draw(st.sampled_from([None, None, None, 30.0, 7200.0]))
        return Reading(DEPOT, name, now - lag, value, shows, silent_after_seconds=asks)
    return draw(st.sampled_from(_others(draw, shows)))


def _others(draw: st.DrawFn, now: Instant) -> list[Entry]:
    number, person = draw(st.integers(0, 5)), draw(st.sampled_from(PEOPLE))
    ours: dict[str, Any] = {"depot": DEPOT, "time": now}
    outcome = draw(st.sampled_from(["accepted", "dead"]))
    opted = draw(st.sampled_from(["", "out", "in"]))
    fraction = draw(st.sampled_from([0.21, 0.233, 0.26]))
    return [
        Refusal(DEPOT, draw(st.sampled_from(sorted(VALUES))), now, "not-a-number", "no"),
        Take(**ours, received=now, number=number, by=person),
        Handling(
            **ours,
            received=now,
            what=draw(st.sampled_from(get_args(HandlingKind))),
            by=person,
            until=now + draw(st.sampled_from([0, 5, 3600, 400_000])) * SECOND,
            why="being mended",
            **draw(st.sampled_from([{"number": number}, *NAMED])),
        ),
        HandTest(
            **ours,
            received=now,
            vessel=draw(st.sampled_from(["main", "other"])),
            at=now,
            mass_fraction=fraction,
            standard_uncertainty=0.003,
        ),
        ModeSet(
            **ours,
            received=now,
            mode=draw(st.sampled_from(list(Mode))),
            single_batch=draw(st.booleans()),
            by=person,
        ),
        HandRecord(
            **ours,
            received=now,
            at=now - draw(st.sampled_from([0, 7200])) * SECOND,
            record=draw(
                st.sampled_from([SaltDelivered(mass_kg=900.0), Remark(note="x"), Struck()])
            ),
            by=person,
            corrects=number,
        ),
        Answer(**ours, received=now, person=person, body="No alarm now.", opted=opted),
        LinkChanged(time=now, up=draw(st.booleans())),
        Started(time=now, version="1", config_hash="x", zone_data="x"),
        Delivery(**ours, text="x", number=number, person=person, outcome=outcome),
        ServiceTrouble(
            time=now, trouble="disk-low", present=draw(st.booleans()), sentence="3 MB left"
        ),
        Tick(time=now),
    ]
