"""The scorecard: verdicts by truth, and sums by rank."""

from dataclasses import replace

import pytest

from brinesim.fault_kinds import KINDS
from brinesim.scoring.card import as_values, card_of, span_text, spread, table
from brinesim.scoring.judging import SLIPS, judge, most_texts
from verdicts import alarm, catch, quiet, truth


def test_an_alarm_after_the_onset_is_a_catch() -> None:
    """Delay runs from the truly wrong moment to the first raising, lead from there to the harm."""
    said = [alarm("02:30"), alarm("02:50"), alarm("02:40", state="acknowledged")]
    run = judge(truth(), said, seed=1)
    (catch,) = run.catches
    assert catch.caught
    assert catch.delay_seconds == 1800
    assert catch.lead_seconds == 3600
    assert run.false_alarms == ()


@pytest.mark.parametrize(
    ("text", "after"),
    [
        ({"number": 1}, 1860.0),
        ({"number": 7, "also": [2, 1]}, 1860.0),
        ({"number": 7, "also": []}, None),
    ],
)
def test_the_first_text_about_a_catch_is_timed_too(
    text: dict[str, object], after: float | None
) -> None:
    """From truly wrong to the first text that names its occurrence, as the first or among others;
    one of another alarm, or one that came before, is none."""
    sent = {"time": "2026-01-15T02:31:00Z", "person": "yard", "body": "cold", **text}
    early = {**sent, "time": "2026-01-15T02:10:00Z"}
    (catch,) = judge(truth(), [early, {**alarm("02:30"), "number": 1}, sent], seed=1).catches
    assert catch.texts_judged
    assert catch.texted_seconds == after


def test_no_alarm_or_the_wrong_one_is_no_catch() -> None:
    """Another alarm during the fault catches nothing, and is counted by itself."""
    run = judge(truth(), [alarm("02:30", "brine-weak")], seed=1)
    assert not run.catches[0].caught
    assert run.catches[0].delay_seconds is None
    assert run.other_alarms == ("brine-weak",)
    assert run.false_alarms == ()


def test_another_alarm_that_says_the_same_is_a_catch() -> None:
    """Some faults can be told by more than one alarm; any of them counts."""
    assert judge(truth(), [alarm("02:30", "power-gone")], seed=1).catches[0].caught


def test_an_alarm_before_the_fault_is_false() -> None:
    """The right alarm an hour early is a false alarm and not a catch."""
    run = judge(truth(), [alarm("01:00")], seed=1)
    assert not run.catches[0].caught
    assert run.false_alarms == ("shelter-freezing",)


def test_an_alarm_after_the_harm_is_late_and_says_so() -> None:
    """The lead is negative where the harm came first."""
    run = judge(truth(), [alarm("04:00")], seed=1)
    assert run.catches[0].lead_seconds == -1800


def test_an_alarm_that_a_slip_explains_is_not_false() -> None:
    """A closed valve just after somebody opened it late is the slip's; later it is false."""
    run = judge(truth(), [alarm("20:01", "closed-valve"), alarm("22:00", "closed-valve")], seed=1)
    assert run.slips_noticed == 1
    assert run.false_alarms == ("closed-valve",)


def test_a_wet_containment_is_true_while_there_is_rain_in_it() -> None:
    """Told within it or soon after it is no false alarm; on a dry floor it is, as another is."""
    rained = {**truth(), "wet": [["2026-01-15T18:00:00Z", "2026-01-15T19:00:00Z"]]}
    said = [alarm(hour, "containment-wet") for hour in ("17:00", "18:30", "19:10", "20:00")]
    run = judge(rained, [*said, alarm("18:30", "brine-weak")], seed=1)
    assert run.wet_noticed == 2
    assert run.false_alarms == ("containment-wet", "brine-weak", "containment-wet")
    for_ever = {**truth(), "wet": [["2026-01-15T18:00:00Z", None]]}
    assert judge(for_ever, said[1:], seed=1).wet_noticed == 3


def test_a_probe_that_has_fouled_by_use_is_no_false_alarm() -> None:
    """True from when it is worn on; of a clean probe, or of another worn sensor, it is false."""
    said = [alarm("18:30", "probe-drifted"), alarm("20:30", "probe-drifted")]
    worn = {**truth(), "worn": {"main-conductivity": "2026-01-15T20:00:00Z"}}
    run = judge(worn, said, seed=1)
    assert run.wear_noticed == 1
    assert run.false_alarms == ("probe-drifted",)
    other = {**truth(), "worn": {"main-level": "2026-01-15T00:00:00Z"}}
    assert judge(other, said, seed=1).wear_noticed == 0


def test_brine_that_is_truly_off_its_band_is_no_false_alarm() -> None:
    """Weak from then to then, and an hour longer for what lags; strong it is not."""
    said = [alarm(hour, "brine-weak") for hour in ("17:50", "18:30", "19:50", "20:10")]
    weak = {
        **truth(),
        "brine_off": {
            "brine-weak": [["2026-01-15T18:00:00Z", "2026-01-15T19:00:00Z"]],
            "brine-strong": [],
            "brine-freezing": [["2026-01-15T18:20:00Z", "2026-01-15T18:40:00Z"]],
        },
    }
    run = judge(weak, [*said, alarm("18:30", "brine-strong")], seed=1)
    assert run.brine_noticed == 2
    assert sorted(run.false_alarms) == ["brine-strong", "brine-weak", "brine-weak"]
    told = [
        alarm(hour, one) for one in ("fill-weak", "brine-freezing") for hour in ("18:30", "20:10")
    ]
    run = judge(weak, told, seed=1)
    assert run.brine_noticed == 2, "a fill that leaves the tank weak, and brine that would freeze"
    assert sorted(run.false_alarms) == ["brine-freezing", "fill-weak"]


def test_a_batch_is_lost_when_the_tank_is_half_a_percent_off_its_band() -> None:
    """Between two rows of the truth by a straight line, and only after the fault's onset."""
    series = {
        "seconds": [0.0, 3600.0, 7200.0, 10800.0, 14400.0],
        "main_strength": [0.21, 0.21, 0.225, 0.219, 0.211],
    }
    weak = {**truth(band=(0.22, -1), alarm="brine-weak", alarms=["brine-weak"]), "series": series}
    (catch,) = judge(weak, [alarm("03:10", "brine-weak")], seed=1).catches
    assert catch.lost
    assert catch.before_lost_seconds == pytest.approx(1200.0)
    (late,) = judge(weak, [alarm("03:40", "brine-weak")], seed=1).catches
    assert late.before_lost_seconds == pytest.approx(-600.0)
    strong = {**weak, "faults": [{**weak["faults"][0], "band": (0.25, 1)}]}  # type: ignore[index]
    assert not judge(strong, [], seed=1).catches[0].lost


def test_brine_that_was_missed_at_its_limit_is_named_apart() -> None:
    """How far it was off at most, until it was inside again; who announced it doesn't matter."""
    series = {
        "seconds": [0.0, 3600.0, 7200.0, 10800.0, 14400.0],
        "main_strength": [0.2601, 0.2502, 0.2507, 0.24, 0.27],
    }
    strong = truth(band=(0.25, 1), alarm="brine-strong", alarms=["brine-strong"])
    strong["series"] = series
    strong["faults"][0]["wrong_from"] = "2026-01-15T00:40:00Z"  # type: ignore[index]
    run = judge(strong, [], seed=1)
    assert run.catches[0].most_off == pytest.approx(0.0007)
    said = table(card_of([run], config="x.toml", sensors=("main-level",)))
    scenario, kind = run.scenario, run.catches[0].kind
    assert f"not caught, never 0.1 % off its band: {scenario} {kind} 1" in said
    series["main_strength"][2] = 0.2511
    assert "never 0.1 %" not in table(
        card_of([judge(strong, [], seed=1)], config="x.toml", sensors=("main-level",))
    )
    told = judge(strong, [alarm("02:10", "brine-strong")], seed=1)
    assert "never 0.1 %" not in table(card_of([told], config="x.toml", sensors=("main-level",)))


def test_salt_that_is_truly_wanted_is_no_false_alarm() -> None:
    """A hopper is used up in the best of weeks; told of a full one it is false all the same."""
    wanted = truth(), [alarm("01:00", "salt-half"), alarm("23:00", "salt-low")]
    spans = [["2026-01-15T00:50:00Z", "2026-01-15T01:05:00Z"]]
    run = judge({**wanted[0], "salt_wanted": spans}, wanted[1], seed=1)
    assert run.salt_wanted == 1
    assert run.false_alarms == ("salt-low",)
    early = [alarm("01:00", "salt-low")]
    halved = judge({**truth(), "salt_wanted": spans, "salt_low": []}, early, seed=1)
    assert halved.false_alarms == ("salt-low",), "a bed that is halved is not low"
    low = judge({**truth(), "salt_wanted": spans, "salt_low": spans}, early, seed=1)
    assert (low.salt_wanted, low.false_alarms) == (1, ())


def test_a_fault_that_never_came_to_anything_is_not_scored() -> None:
    """Where the depot was never truly wrong there is nothing to catch."""
    assert judge(truth(wrong_from=None), [], seed=1).catches == ()


def test_what_was_announced_of_a_fault_that_came_to_nothing_is_not_lost() -> None:
    """It is counted among other alarms, and the card says how many such faults there were."""
    run = judge(truth(wrong_from=None), [alarm("02:30")], seed=1)
    assert run.other_alarms == ("shelter-freezing",)
    card = card_of([run, judge(truth(), [alarm("02:30")], seed=2)], config="c", sensors=())
    assert card.came_to_nothing == {"heater-failed": 1}
    line = "faults that came to nothing, and are not counted: heater-failed 1"
    assert line in table(card).splitlines()


def test_a_sensor_s_alarm_must_name_that_sensor() -> None:
    """Another sensor named catches nothing; the right one does."""
    silent = {"kind": "sensor-silent", "alarm": "sensor-silent", "alarms": ["sensor-silent"]}
    stuck = truth(**silent, sensor="main-level", names=["main-level"], every=10.0, harm=None)
    wrong = judge(stuck, [alarm("02:02", "sensor-silent", source="hose-flow")], seed=1)
    assert not wrong.catches[0].caught
    right = judge(stuck, [alarm("02:02", "sensor-silent", source="main-level")], seed=1)
    assert right.catches[0].caught
    assert right.catches[0].every_seconds == 10.0


def test_the_pump_s_next_start_is_the_first_after_the_onset() -> None:
    """Not one before it, nor a later one; where it never starts again there is none."""
    (catch,) = judge(truth(), [alarm("02:30")], seed=1).catches
    assert catch.since_start_seconds == 600
    never = {**truth(), "pump_starts": ["2026-01-15T01:30:00Z"]}
    assert judge(never, [alarm("02:30")], seed=1).catches[0].since_start_seconds is None


def test_a_batch_is_judged_from_its_end() -> None:
    """The first batch after the onset that ends 1 % off its band, not one before or less off."""
    weak = {"kind": "weak-brine", "alarm": "brine-weak", "alarms": ["brine-weak"]}
    (catch,) = judge(truth(**weak, band=[0.22, -1]), [alarm("03:27", "brine-weak")], seed=1).catches
    assert catch.clearly_off
    assert catch.since_batch_seconds == 420
    (slight,) = judge(truth(**weak, band=[0.21, -1]), [], seed=1).catches
    assert not slight.clearly_off


def test_a_catch_long_after_the_mending_counts_for_brine_alone() -> None:
    """Brine stays weak after its cause is mended; a shelter that is warm again is no catch."""
    weak = {"kind": "weak-brine", "alarm": "brine-weak", "alarms": ["brine-weak"]}
    assert (
        judge(truth(**weak, band=[0.22, -1]), [alarm("12:00", "brine-weak")], seed=1)
        .catches[0]
        .caught
    )
    assert not judge(truth(), [alarm("12:00")], seed=1).catches[0].caught


def test_the_card_lists_what_nobody_watches_and_each_sensor() -> None:
    """Kinds without an alarm are named, and faults of several sensors are counted by sensor."""
    catches = tuple(
        catch("sensor-stuck", sensor=name, caught=name == "a", every_seconds=10.0)
        for name in ("b", "a")
    )
    card = card_of([replace(quiet((), 0), catches=catches)], config="c", sensors=())
    assert card.rows[0].by_sensor == {"a": (1, 1), "b": (0, 1)}
    assert "x, by sensor: a 1/1, b 0/1" in table(card)
    assert set(card.unwatched) == {name for name, kind in KINDS.items() if not kind.alarm}
    some = replace(card, unwatched=("float-worn", "air-lock"))
    assert "no alarm watches these faults: float-worn, air-lock" in table(some)
    assert "no alarm watches these faults: none" in table(replace(card, unwatched=()))


def test_texts_are_counted() -> None:
    """Texts are objects with a person and a body: about one alarm, several, or none (a line)."""
    text = {"time": "2026-01-15T02:31:00Z", "person": "yard", "body": "cold", "number": 1}
    several = {**text, "number": 0, "also": [1, 2]}
    again = {**text, "kind": "again"}
    line = {**text, "number": 0, "also": []}
    run = judge(truth(), [text, several, again, line], seed=1)
    assert (run.texts, run.repeats, run.lines) == (2, 1, 1)
    assert run.most_texts == 4


def test_a_flood_of_texts_is_that_of_one_person_in_ten_minutes() -> None:
    """By whole windows, wherever they begin; what goes to somebody else, or later, is another."""
    yard = [(at, "yard") for at in (0.0, 300.0, 599.0, 600.0, 899.0)]
    assert most_texts(yard) == 4
    assert most_texts([*yard, (601.0, "dispatch")]) == 4
    assert most_texts([]) == 0
    card = card_of([replace(quiet((), 0), most_texts=n) for n in (3, 11)], config="c", sensors=())
    (line,) = (one for one in table(card).splitlines() if one.startswith("texts to one person"))
    assert line.split()[-3:] == ["10", "11", "missed"]


def test_a_rough_card_has_its_own_aim_of_false_alarms_and_none_of_texts() -> None:
    """Three in 750 days are 0.12 a month: missed as the sensors are, met where all is doubled;
    texts have no verdict there, however many."""
    runs = [replace(quiet(("uplift",), 0), days=250.0, texts=50) for _ in range(3)]

    def bounds(*, rough: bool) -> list[list[str]]:
        said = table(card_of(runs, config="c", sensors=(), rough=rough)).splitlines()
        begins = ("false alarms a depot-month", "texts a depot-week without a fault or")
        return [line[66:].split() for line in said if line.startswith(begins)]

    assert bounds(rough=False) == [["<0.1", "0.12", "missed"], ["<1", "1.40", "missed"]]
    assert bounds(rough=True) == [["<0.3", "0.12"], ["-", "1.40"]]
    worse = [*runs, replace(quiet(("uplift",) * 5, 0), days=0.0)]
    assert "<0.3               0.32   missed" in table(
        card_of(worse, config="c", sensors=(), rough=True)
    )


def test_spread_is_by_rank() -> None:
    """Of a hundred values the 95 % one is the 95th: no interpolation, no fit."""
    found = spread([float(i) for i in range(1, 101)])
    assert found is not None
    assert (found.least, found.median, found.ninety_five_percent, found.most) == (1, 50, 95, 100)
    assert spread([]) is None


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (3, "3 s"),
        (99, "99 s"),
        (180, "3 min"),
        (-720, "-12 min"),
        (7200, "2.0 h"),
        (259_200, "3.0 d"),
    ],
)
def test_spans_are_read_at_a_glance(seconds: float, text: str) -> None:
    """Seconds, minutes, hours, days, as fits."""
    assert span_text(seconds) == text


def test_false_alarms_are_counted_by_the_month() -> None:
    """Two in two quiet weeks are 4.3 a depot-month of 30 days; texts are by the week."""
    card = card_of([quiet(("brine-weak",), 3), quiet(("brine-weak",), 1)], config="c", sensors=())
    assert card.false_per_month == pytest.approx(30 * 2 / 14)
    assert card.texts_per_week == pytest.approx(2.0)
    slips = [replace(quiet((), 2), texts_about={"a person's slip": 1})] * 2
    card_with_slips = card_of(slips, config="c", sensors=())
    assert card_with_slips.texts_per_week == pytest.approx(2.0)
    assert card_with_slips.texts_per_week_without_slips == pytest.approx(1.0)
    assert "2.00 texts a depot-week, 1.00 without those of" in table(card_with_slips)
    assert card.false_alarms == {"brine-weak": 2}
    assert "4.29 false alarms a depot-month" in table(card)
    assert as_values(card, [])["false_per_month"] == pytest.approx(30 * 2 / 14)


def test_texts_are_counted_by_what_they_are_about() -> None:
    """By the alarm whose number they have, a person's slip by itself, repeats left out."""

    def text(hour: str, number: int, kind: str = "raised") -> dict[str, object]:
        at = f"2026-01-15T{hour}:00Z"
        return {"time": at, "person": "yard", "body": "x", "kind": kind, "number": number}

    changes: list[dict[str, object]] = [
        {**alarm("02:30"), "number": 1},
        text("02:30", 1),
        text("02:40", 1, "again"),
        text("05:00", 1, "cleared"),
        {**alarm("20:02", "closed-valve", source="pump"), "number": 2},
        text("20:02", 2),
        {**alarm("23:00", "closed-valve", source="pump"), "number": 3},
        text("23:00", 3),
        text("23:30", 0, "handover"),
    ]
    judged = judge(truth(), changes, seed=1)
    about = {"shelter-freezing": 2, SLIPS: 1, "closed-valve": 1}
    assert judged.texts_about == about
    quiet = judge({**truth(), "faults": []}, changes, seed=1)
    card = card_of([replace(quiet, scenario="quiet-week")], config="c", sensors=())
    assert card.texts_about == about
    assert card.texts_by_scenario == {"quiet-week": (4, 1.0)}
    assert "quiet-week 28.0" in table(card)
    assert "1 daily lines besides" in table(card)


def test_what_is_known_of_before_needs_no_new_text() -> None:
    """A second fault while the first one's alarm is still active is caught, as known; once it has
    cleared, or where the first was false, it is not.
    """
    again = {"onset": "2026-01-15T12:00:00Z", "mended": "2026-01-15T13:00:00Z"}
    first = truth()
    second = truth(**again, wrong_from=again["onset"], harm=None)
    both = {**first, "faults": [*first["faults"], *second["faults"]]}  # type: ignore[misc]  # lists of both
    raised = alarm("02:30")
    taken = alarm("02:35", state="acknowledged")
    known = judge(both, [raised, taken], seed=1)
    assert [(c.caught, c.known) for c in known.catches] == [(True, False), (True, True)]
    assert known.catches[1].delay_seconds == 0.0
    card = card_of([known], config="c", sensors=())
    assert "its alarm active from before: heater-failed heater-failed 1" in table(card)
    over = judge(both, [raised, taken, alarm("11:00", state="normal")], seed=1)
    assert [c.caught for c in over.catches] == [True, False]
    elsewhere = judge(both, [raised, taken, alarm("02:40", "overflow-ahead")], seed=1)
    assert [c.known for c in elsewhere.catches] == [False, True]


def test_what_comes_back_to_who_had_it_is_no_new_raising() -> None:
    """Nor is one that got worse: its one raising is judged, and nothing is false of it later."""
    changes = [
        {**alarm("02:30"), "before": "normal"},
        {**alarm("02:40"), "before": "unacknowledged"},
        {**alarm("02:45", state="acknowledged"), "before": "unacknowledged"},
        {**alarm("23:00"), "before": "acknowledged"},
    ]
    run = judge(truth(), changes, seed=1)
    assert [c.delay_seconds for c in run.catches] == [1800.0]
    assert run.false_alarms == run.other_alarms == ()
