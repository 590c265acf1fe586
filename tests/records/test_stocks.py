"""What is in the tanks and in the hopper at the two ends of a period, and what they gained."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.plant.plan import DepotPlan, VesselKind
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import Step
from brineward.records.balance import Balance, balance_of
from checkout import ROOT
from journal.samples import T0, asked, derived, reading

HOURS = 12


def with_a_spare(plan: DepotPlan) -> DepotPlan:
    """A depot with a second tank of brine, as big and as well watched as the first."""
    main = plan.vessels["main"]
    vessels = {**plan.vessels, "spare": replace(main, id="spare", kind=VesselKind.STORAGE)}
    sensors = dict(plan.sensors)
    for one in plan.sensors.values():
        if one.at == "main":
            name = one.id.replace("main", "spare")
            sensors[name] = replace(one, id=name, at="spare")
    return replace(plan, vessels=vessels, sensors=sensors)


ONE = load_settings(ROOT / "config" / "tern-hollow.toml").depots["tern-hollow"]
TWO = with_a_spare(ONE)
TANK_KG = ONE.vessels["main"].shape.volume_m3(1.5) * 1174 * 0.23
"""Of salt in either tank, about."""


def heard(name: str, value: float, start: int = 0, end: int = HOURS) -> list[Step]:
    """A sensor, or a strength, that was known each minute between two hours."""
    times = range(start * HOUR, end * HOUR, MINUTE)
    if not name.endswith("-strength"):
        return [Step(reading(at, value, sensor=name), ()) for at in times]
    other = (reading(at, 0.0, sensor=f"beside-{name}") for at in times)
    return [
        Step(one, (derived(at, value, name=name),)) for at, one in zip(times, other, strict=True)
    ]


def balance(
    folder: Path, plan: DepotPlan, known: Iterable[list[Step]], span: tuple[int, int] = (0, HOURS)
) -> Balance:
    """Of these hours."""
    with Journal.open(folder / "a.journal") as journal:
        for steps in known:
            journal.commit(steps)
        return balance_of(asked(journal), plan, T0 + span[0] * HOUR, T0 + span[1] * HOUR)


def tank(name: str, level: tuple[int, int] = (0, HOURS), strength: tuple[int, int] = (0, HOURS)):
    """One tank whose level and strength were known between these hours."""
    return [
        heard(f"{name}-level", 1.5, *level),
        heard(f"{name}-temperature", 10.0),
        heard(f"{name}-strength", 0.23, *strength),
    ]


def test_two_tanks_that_stand_close(tmp_path: Path) -> None:
    """Both known at both ends: the salt of both, and nothing is open."""
    found = balance(tmp_path, TWO, [*tank("main"), *tank("spare")])
    assert found.salt_in_tanks is not None
    assert [one.amount for one in found.salt_in_tanks] == pytest.approx([2 * TANK_KG] * 2, rel=0.01)
    assert found.tanks_open is not None
    assert found.tanks_open.amount == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("known", [(0, 6), (6, HOURS)])
@pytest.mark.parametrize("what", ["level", "strength"])
def test_a_tank_known_at_one_end_alone_is_no_loss_and_no_gain(
    tmp_path: Path, what: str, known: tuple[int, int]
) -> None:
    """It is in neither stock, and what the tanks gained is not known."""
    found = balance(tmp_path, TWO, [*tank("main"), *tank("spare", **{what: known})])
    assert found.salt_in_tanks is not None
    assert [one.amount for one in found.salt_in_tanks] == pytest.approx([TANK_KG] * 2, rel=0.01)
    assert found.tanks_open is None


def test_a_tank_whose_sensors_say_nothing_leaves_it_open(tmp_path: Path) -> None:
    """Silent at both ends, and nobody knows what went into it; unless it has no sensors at all."""
    found = balance(tmp_path, TWO, tank("main"))
    assert found.salt_in_tanks is not None
    assert found.tanks_open is None
    sensors = {name: one for name, one in TWO.sensors.items() if one.at != "spare"}
    with Journal.open(tmp_path / "a.journal") as journal:
        bare = balance_of(asked(journal), replace(TWO, sensors=sensors), T0, T0 + HOURS * HOUR)
    assert bare.tanks_open is not None


@pytest.mark.parametrize("known", [(0, 6), (6, HOURS)])
def test_a_hopper_s_level_known_at_one_end_alone_dissolves_nothing(
    tmp_path: Path, known: tuple[int, int]
) -> None:
    """The bed alone counts at both ends; what the hopper gained is not known."""
    found = balance(tmp_path, ONE, [heard("hopper-salt", 1.0), heard("hopper-level", 1.6, *known)])
    assert found.salt_in_hopper is not None
    before, after = found.salt_in_hopper
    assert before == after
    assert found.hopper_open is None


def test_a_hopper_known_at_both_ends_has_its_brine(tmp_path: Path) -> None:
    """More than its bed, at both, and nothing is open."""
    with_brine = balance(tmp_path, ONE, [heard("hopper-salt", 1.0), heard("hopper-level", 1.6)])
    bed = ONE.vessels["hopper"].shape.volume_m3(1.0) * 1200
    assert with_brine.salt_in_hopper is not None
    assert with_brine.salt_in_hopper[0].amount > bed + 100
    assert with_brine.hopper_open is not None
    assert with_brine.hopper_open.amount == pytest.approx(0.0, abs=1e-6)


def thinned(folder: Path, known: Iterable[list[Step]], up_to: int) -> None:
    """A journal of which only the sums of the hours before `up_to` are left."""
    with Journal.open(folder / "a.journal") as journal:
        # Committed in the order in which it was received, as the watch does.
        steps = sorted(
            (one for steps in known for one in steps), key=lambda one: one.entry.received
        )
        journal.commit(steps, states={"tern-hollow": b"s"})
        while journal.thinning.thin(T0 + up_to * HOUR, 0.0).more:
            pass
        left = asked(journal).readings.between("tern-hollow", "main-level", 0, T0 + 99 * HOUR)
        assert left[0].time >= T0 + up_to * HOUR - MINUTE


def test_the_stock_at_a_start_that_was_thinned_is_of_its_hour(tmp_path: Path) -> None:
    """The tank held half as much then as in the oldest readings that are left whole."""
    known = [
        heard("main-level", 0.75, 0, 6),
        heard("main-level", 1.5, 6, HOURS),
        *tank("main")[1:],
        heard("hopper-salt", 1.5, 0, 6),
        heard("hopper-salt", 1.0, 6, HOURS),
    ]
    thinned(tmp_path, known, up_to=8)
    for start in (0, 3):
        found = balance(tmp_path, ONE, [], (start, HOURS))
        assert found.salt_in_tanks is not None
        before, after = found.salt_in_tanks
        assert before.amount == pytest.approx(TANK_KG / 2, rel=0.01)
        assert after.amount == pytest.approx(TANK_KG, rel=0.01)
        assert before.standard_uncertainty / before.amount > 0.03
        assert found.tanks_open is not None
        assert found.tanks_open.amount == pytest.approx(-TANK_KG / 2, rel=0.01)
        assert found.salt_in_hopper is not None
        before, after = found.salt_in_hopper
        assert before.amount == pytest.approx(1.5 * after.amount)


def test_a_period_of_which_only_hours_are_left_has_both_its_ends(tmp_path: Path) -> None:
    """Each from the sums of its own hour."""
    known = [heard("main-level", 0.75, 0, 6), heard("main-level", 1.5, 6), *tank("main")[1:]]
    thinned(tmp_path, known, up_to=11)
    found = balance(tmp_path, ONE, [], (2, 9))
    assert found.salt_in_tanks is not None
    amounts = [one.amount for one in found.salt_in_tanks]
    assert amounts == pytest.approx([TANK_KG / 2, TANK_KG], rel=0.01)


def test_a_stock_is_not_known_where_its_thinned_hour_is_spoilt(tmp_path: Path) -> None:
    """The sums of the hour hold a value out of range: no later stock takes its place."""
    known = [*tank("main"), [Step(reading(150 * MINUTE + 1, 99.0), ())]]
    thinned(tmp_path, known, up_to=8)
    found = balance(tmp_path, ONE, [], (3, HOURS))
    assert (found.salt_in_tanks, found.tanks_open) == (None, None)
    assert balance(tmp_path, ONE, [], (5, HOURS)).salt_in_tanks is not None


def test_a_depot_whose_records_begin_within_the_period_begins_with_them(tmp_path: Path) -> None:
    """Nothing was thinned: its stock at the start is that of half an hour after they begin."""
    with Journal.open(tmp_path / "a.journal") as journal:
        for steps in tank("main"):
            journal.commit(steps)
        found = balance_of(asked(journal), ONE, T0 - 99 * HOUR, T0 + HOURS * HOUR)
    assert found.salt_in_tanks is not None
    assert found.salt_in_tanks[0].amount == pytest.approx(TANK_KG, rel=0.01)
