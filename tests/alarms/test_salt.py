"""Salt under half and salt low, scripted: told early, once, and not of a hopper that is filled."""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from brineward.alarms.registry import coverage
from brineward.alarms.salt_low import next_week_begins
from brineward.engine.engine import Engine
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.readings.instants import HOUR, MINUTE, instant_from_rfc3339
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, Priority, TextDue
from brineward.wording.segment import segment
from depots import START, brine, by_hand, plan, reading
from plant.test_hopper_salt import with_hopper

LOW, HALF = "salt-low", "salt-half"
Bed = Callable[[float], float]


class Run:
    """A depot whose bed is a function of the hours after `START`, a Wednesday 18:00 in UTC."""

    def __init__(
        self, bed: Bed, *, its: DepotPlan | None = None, seed: int = 1, probed: bool = False
    ) -> None:
        whole = its or with_hopper()
        sensors = {name: whole.sensors[name] for name in ("level", "temp", "cond", "salt")}
        self.plan = replace(whole, sensors=sensors)
        self.engine = Engine({self.plan.id: self.plan})
        self.bed, self.minute, self.probed = bed, 0, probed
        self.outputs: list[Output] = []
        self._draw = random.Random(seed)

    def until(self, hours: float) -> "Run":
        """Play on, `probed` with a covered probe in good brine."""
        while self.minute < hours * 60:
            at = self.minute * 60
            said = self.bed(self.minute / 60) + self._draw.gauss(0.0, 0.015)
            self.outputs += self.engine.step(reading("salt", at, round(said, 3)))
            for name, value in (("level", 2.0), ("temp", 5.0), ("cond", brine(0.233, 5.0))):
                if self.probed:
                    self.outputs += self.engine.step(reading(name, at, value))
            self.minute += 1
        return self

    def test(self) -> None:
        """Somebody tests the brine, now."""
        self.outputs += self.engine.step(by_hand(START + self.minute * MINUTE))

    def restart(self) -> None:
        """Another process goes on."""
        kept = self.engine.snapshots()
        self.engine = Engine({self.plan.id: self.plan})
        assert self.engine.restore(kept) == []

    def when(self, alarm: str, *states: AlarmState) -> list[float]:
        """The hours at which it came to one of these states; raised where none is named."""
        wanted = states or (AlarmState.UNACKNOWLEDGED,)
        return [
            round((one.time - START) / HOUR, 2)
            for one in self.outputs
            if isinstance(one, AlarmChanged) and one.alarm == alarm and one.state in wanted
        ]

    def text(self, alarm: str) -> str:
        """What the first text of it says."""
        number = next(
            o.number for o in self.outputs if isinstance(o, AlarmChanged) and o.alarm == alarm
        )
        due = next(o for o in self.outputs if isinstance(o, TextDue) and o.number == number)
        return segment(due.notice)


def cleared(run: Run, alarm: str) -> list[float]:
    """When it cleared."""
    return run.when(alarm, AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)


@pytest.mark.parametrize("seed", range(4))
def test_a_bed_that_runs_down_is_told_once_as_it_passes_its_limit(seed: int) -> None:
    """0.47 m, 1 cm an hour: under 0.42 m at five hours, told within twenty minutes, then quiet."""
    run = Run(lambda hour: 0.47 - 0.01 * hour, seed=seed).until(27)
    (told,) = run.when(LOW)
    assert 4.0 <= told <= 6.5
    assert "hopper salt low" in run.text(LOW)
    assert "Add salt from outside" in run.text(LOW)


def test_a_filling_clears_it() -> None:
    """Ten minutes after the bed is back, and not before."""
    run = Run(lambda hour: 0.4 if hour < 3 else 1.1).until(4)
    assert len(run.when(LOW)) == 1
    (over,) = cleared(run, LOW)
    assert 3.1 <= over <= 3.5


def test_a_bed_at_its_limit_does_not_chatter() -> None:
    """Noise about the limit for a day raises it once at most."""
    run = Run(lambda hour: 0.42).until(24)
    assert len(run.when(LOW)) <= 1


def test_how_long_it_lasts_is_said_when_a_days_use_is_known() -> None:
    """1 cm an hour: 0.42 m less the last 5 cm last for 37 hours."""
    run = Run(lambda hour: 0.59 - 0.01 * hour).until(20)
    assert "at this rate" in run.text(LOW)
    hours = int(run.text(LOW).split(" h at this rate")[0].rsplit(" ", 1)[-1])
    assert 27 <= hours <= 41, "told when the mix has twelve good hours left, or the day is over"
    early = Run(lambda hour: 0.44 - 0.01 * hour).until(6)
    assert "at this rate" not in early.text(LOW)


def test_salt_that_is_gone_by_monday_is_told_on_friday_noon() -> None:
    """1 cm an hour and 66 hours to Monday 06:00: 0.66 m are not enough, though far from low."""
    run = Run(lambda hour: 1.08 - 0.01 * hour).until(41.9)
    assert run.when(LOW) == []
    (told,) = run.until(44).when(LOW)
    assert 42.0 <= told <= 42.5
    assert "salt gone by Mon 06:00" in run.text(LOW)


def test_what_is_gone_by_friday_night_is_medium_on_friday_noon() -> None:
    """6 cm an hour, filled each ten hours, 0.53 m at noon: eight hours are left. It is medium from
    the first, so that nobody is texted soon after, under 0.42 m, that it got worse."""

    def bed(hour: float) -> float:
        return 0.53 + 0.06 * ((42 - hour) % 10 if hour < 42 else 42 - hour)

    run = Run(bed).until(45)
    texts = [one for one in run.outputs if isinstance(one, TextDue)]
    assert [one.priority for one in texts][:1] == [Priority.MEDIUM]
    assert "salt gone by Mon 06:00" in segment(texts[0].notice)
    assert [one for one in texts if "got worse" in segment(one.notice)] == []


def test_a_forecast_does_not_come_and_go_with_the_use() -> None:
    """1 cm an hour until Friday noon, six hours of rest, then 2 cm an hour: raised once, and not
    cleared while nobody fills the hopper."""

    def bed(hour: float) -> float:
        return 1.08 - 0.01 * min(hour, 42) - 0.02 * max(0.0, hour - 48)

    run = Run(bed).until(54)
    (raised,) = run.when(LOW)
    assert 42.0 <= raised <= 42.5
    assert cleared(run, LOW) == []


def test_a_filling_on_friday_afternoon_ends_the_forecast() -> None:
    """1 cm an hour, and at three it is filled to 0.8 m: that lasts at this use, though not at one
    and a half times it, and whoever filled it sees that it is enough."""
    run = Run(lambda hour: (1.08 if hour < 45 else 1.25) - 0.01 * hour).until(48)
    assert len(run.when(LOW)) == 1
    (over,) = cleared(run, LOW)
    assert 45.1 <= over <= 45.6


def test_a_storm_that_begins_on_friday_night_is_announced_by_the_bed_itself() -> None:
    """4 cm an hour from Friday 18:00 on: two hours before the bed is low the forecast says that it
    won't last, but whoever could fill it by day is gone; the crew is called at 0.42 m."""
    run = Run(lambda hour: 1.37 - 0.04 * max(0.0, hour - 48)).until(73)
    assert 71.5 <= run.when(LOW)[0] <= 72.5


def test_whoever_filled_it_after_friday_noon_has_seen_it() -> None:
    """2 cm an hour, and filled to 1.0 m at 12:01: much, if not enough until Monday."""
    run = Run(lambda hour: (1.5 if hour < 42.02 else 1.84) - 0.02 * hour).until(48)
    assert run.when(LOW) == []


def test_one_night_of_storm_does_not_empty_the_weekends_hopper() -> None:
    """0.33 m in the night to Friday, after a day of rest: 0.87 m last three such days."""
    run = Run(lambda hour: 1.2 - 0.033 * min(max(hour - 26, 0.0), 10.0)).until(80)
    assert run.when(LOW) == []


def test_salt_that_lasts_the_weekend_is_not_told() -> None:
    """A quarter of a centimetre an hour from 0.9 m: half of it is left on Monday."""
    run = Run(lambda hour: 0.9 - 0.0025 * hour).until(72)
    assert run.when(LOW) == []


@pytest.mark.parametrize(
    ("now", "begins"),
    [
        ("2026-01-16T11:59:00Z", None),
        ("2026-01-16T12:00:00Z", "2026-01-19T06:00:00Z"),
        ("2026-01-18T23:00:00Z", "2026-01-19T06:00:00Z"),
        ("2026-01-19T05:59:00Z", "2026-01-19T06:00:00Z"),
        ("2026-01-19T06:00:00Z", None),
    ],
)
def test_when_the_working_week_begins(now: str, begins: str | None) -> None:
    """From Friday noon on, Monday 06:00 on the depot's clock; no weekend in between: none."""
    found = next_week_begins(instant_from_rfc3339(now), plan().zone)
    assert found == (None if begins is None else instant_from_rfc3339(begins))


def test_under_half_asks_for_one_test_a_filling() -> None:
    """1.2 m, 6 cm an hour: half after ten hours. A test clears it; it isn't raised again."""
    run = Run(lambda hour: max(0.5, 1.2 - 0.06 * hour), probed=True).until(11.5)
    (told,) = run.when(HALF)
    assert 10.0 <= told <= 11.0
    run.test()
    run.until(20)
    assert len(cleared(run, HALF)) == 1
    assert len(run.when(HALF)) == 1


def test_a_test_from_before_it_was_under_half_does_not_count() -> None:
    """The next batch is made from the lower bed: that one is to be tested."""
    run = Run(lambda hour: max(0.5, 1.2 - 0.06 * hour), probed=True).until(8)
    run.test()
    assert len(run.until(12).when(HALF)) == 1


def test_a_filling_clears_under_half_too() -> None:
    """And the next filling has a half of its own."""
    run = Run(lambda hour: 1.2 - 0.06 * (hour % 12)).until(23.9)
    assert len(run.when(HALF)) == 2
    assert len(cleared(run, HALF)) >= 1


def test_low_salt_is_one_text() -> None:
    """Under half is a consequence of low: while that is active it is held back."""
    run = Run(lambda hour: 0.8 - 0.1 * min(hour, 5)).until(8)
    assert len(run.when(LOW)) == 1
    assert [one for one in run.when(HALF) if one > run.when(LOW)[0]] == []


def test_a_sensor_that_is_silent_raises_nothing() -> None:
    """Nothing is known of the bed then; the silence is announced by its own alarm."""
    run = Run(lambda hour: 1.0).until(1)
    for minute in range(60, 600):
        run.outputs += run.engine.step(reading("level", minute * 60, 2.0))
    assert run.when(LOW) == run.when(HALF) == []


def test_the_limit_is_the_configs_where_it_sets_one() -> None:
    """A bed of 0.5 m is low at a depot that says so."""
    its = with_hopper(alarms={LOW: AlarmSettings(limit=0.6)})
    assert len(Run(lambda hour: 0.5, its=its).until(2).when(LOW)) == 1
    assert Run(lambda hour: 0.5).until(2).when(LOW) == []


def test_a_restart_changes_nothing() -> None:
    """In the middle of running down: announced at the same minute as without it."""
    plain = Run(lambda hour: 0.5 - 0.01 * hour).until(8)
    broken = Run(lambda hour: 0.5 - 0.01 * hour).until(4)
    broken.restart()
    assert broken.until(8).when(LOW) == plain.when(LOW)


@pytest.mark.parametrize(
    ("drawn_from", "fills", "asks"),
    [
        ("main", True, "None? Shut the water."),
        ("hopper", True, "None? Pump off (PANEL), THEN shut water."),
        ("main", False, ""),
    ],
)
def test_without_salt_what_feeds_this_depots_tank_is_stopped(
    drawn_from: str, fills: bool, asks: str
) -> None:
    """A fill by its own pressure is shut; a pump that draws from the hopper is stopped before
    that; where the config has neither, there is nothing to shut."""
    whole = with_hopper()
    pump = replace(whole.pumps["pump"], id="transfer", draws_from=drawn_from)
    its = replace(
        whole, pumps={**whole.pumps, "transfer": pump}, fills=whole.fills if fills else ()
    )
    said = Run(lambda hours: 0.9 - 0.2 * hours, its=its).until(4).text(LOW)
    assert f"Add salt from outside. {asks}".strip() in said
    assert ("None?" in said) is bool(asks)


def test_where_it_is_covered() -> None:
    """By the hopper's salt-level sensor; without one by deliveries, where the tank has a level."""
    its = with_hopper()
    found = {one.alarm: one for one in coverage(its)}
    assert (found[LOW].how, found[LOW].by) == ("covered", ("salt",))
    assert (found[HALF].how, found[HALF].by) == ("covered", ("salt",))
    bare = replace(its, sensors={n: s for n, s in its.sensors.items() if n != "salt"})
    found = {one.alarm: one for one in coverage(bare)}
    helps = "a salt-level sensor in hopper; without it, each delivery recorded"
    assert (found[LOW].how, found[LOW].by, found[LOW].would_help) == ("indirect", ("level",), helps)
    bare = replace(bare, sensors={n: s for n, s in bare.sensors.items() if n != "level"})
    found = {one.alarm: one for one in coverage(bare)}
    by_hand = "or each delivery recorded and a level in the tank that it fills"
    helps = f"a salt-level sensor in hopper, {by_hand}"
    assert (found[LOW].how, found[LOW].would_help) == ("blind", helps)
    (none,) = (one for one in coverage(plan()) if one.alarm == LOW)
    assert (none.how, none.source) == ("blind", "any hopper"), "also where none is declared"


def test_priorities() -> None:
    """Low salt wakes somebody who can fill it in time; half of it waits for the morning."""
    run = Run(lambda hour: max(0.4, 1.2 - 0.06 * hour)).until(16)
    found = {o.alarm: o.priority for o in run.outputs if isinstance(o, AlarmChanged)}
    assert found == {HALF: Priority.LOW, LOW: Priority.MEDIUM}
