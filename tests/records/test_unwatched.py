"""All dangers that nobody watches, with why: asked for by text, in status, from the service's own
account."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import orjson
import pytest

from brineward.commands.main import main
from brineward.config.settings import Settings
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.readings.entries import ModeSet, Tick
from brineward.readings.instants import HOUR, SECOND
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmChanged, Priority, Step
from brineward.records import Records
from brineward.records.unwatched_words import unwatched_text
from brineward.service.questions import Questions
from brineward.texts.replies import Question, parse_reply
from brineward.watch.unwatched import Blind, Unwatched
from brineward.wording.gsm import septets
from depots import DEPOT, START, plan
from engine.scripted import Script
from reports.made import settings_with

QUIET = {name: AlarmSettings(enabled=False) for name in ("sensor-silent", "depot-silent")}
LISTED = ("overflow", "tank leak", "weak brine", "strong brine")


def blind(danger: str, why: str, quiet_in: tuple[Mode, ...] = ()) -> Blind:
    """A danger that can't be judged."""
    return Blind(danger, Priority.HIGH, why, (), START, quiet_in)


def pages_of(its: DepotPlan, found: Sequence[Blind]) -> list[str]:
    """Each text of the list, as the one before it says how to ask for it."""
    texts, place = [], 1
    while True:
        texts.append(unwatched_text(its, found, place))
        ask = f"Rest: reply {its.short} UNWATCHED {place + 1}."
        if ask not in texts[-1]:
            return texts
        assert parse_reply(ask.removeprefix("Rest: reply ").rstrip("."), [its.short]) == Question(
            what="unwatched", short=its.short, place=place + 1
        )
        place += 1


def test_what_has_one_reason_is_named_together() -> None:
    """Each danger once, the reason once."""
    found = [
        blind("overflow", "main level is silent"),
        blind("weak brine", "main probe is stuck"),
        blind("no fill", "main level is silent"),
        blind("overflow", "main level is silent"),
    ]
    text = unwatched_text(replace(plan(), name="Tern Hollow"), found)
    assert text == (
        "Tern Hollow, not watched: overflow, no fill (main level is silent); "
        "weak brine (main probe is stuck)."
    )
    whole = [*found, blind("line leak", "hose flow has not reported")]
    assert "UNWATCHED" not in unwatched_text(replace(plan(), name="Tern Hollow"), whole)
    assert unwatched_text(plan(), []) == f"{plan().name}: all dangers are watched."
    assert "not known just now" in unwatched_text(plan(), None)


@pytest.mark.parametrize("name", ["Tern Hollow", "Wexmoor County Upper Tern Hollow North Yard"])
@pytest.mark.parametrize("reasons", [1, 3, 25])
def test_a_long_list_is_complete_over_several_texts_of_one_segment_each(
    name: str, reasons: int
) -> None:
    """Twenty-five dangers: each text says how to ask for the next, and none is left out."""
    its = replace(plan(), name=name)
    found = [
        blind(f"danger number {n}", f"sensor {n % reasons} has not reported, is silent or "
              "implausible since it was last seen")
        for n in range(25)
    ]  # fmt: skip
    texts = pages_of(its, found)
    assert all(0 < septets(text) <= 160 for text in texts)
    words = " ".join(texts).replace(" (", ",")
    assert all(f"danger number {n}," in words for n in range(25))
    assert all(f"sensor {n} has not reported" in words for n in range(reasons))
    assert unwatched_text(its, found, 99) == texts[-1]


def asked(settings: Settings, question: Question) -> str:
    """What is answered to the yard lead."""
    return Questions(settings).answer(question, "yard", START + 5 * HOUR)


@pytest.fixture
def silent(tmp_path: Path) -> tuple[Settings, str]:
    """A journal with the state of a depot whose level fell silent, its own alarm being off, and the
    number of the alarm that says so."""
    script = Script(plan(fills=(), alarms=QUIET)).at(600, lambda w: w.silent.add("level")).run(3600)
    settings = settings_with(tmp_path / "one.journal", tmp_path)
    (its,) = settings.depots.values()
    settings = replace(settings, depots={DEPOT: replace(its, id=DEPOT)})
    (raised,) = (c for c in script.outputs if isinstance(c, AlarmChanged) and c.number)
    entry = ModeSet(depot=DEPOT, time=START, received=START, mode=Mode.IN_SERVICE, by="yard")
    with Journal.open(settings.journal.path) as journal:
        journal.commit([Step(entry, (raised,))], states=script.engine.snapshots())
    return settings, str(raised.number)


def test_all_of_them_are_answered_by_text_whichever_way_it_is_asked(
    silent: tuple[Settings, str],
) -> None:
    """The alarm's own text names two and counts the others; UNWATCHED, and MORE of that alarm, name
    each."""
    settings, number = silent
    whole = asked(settings, Question(what="unwatched"))
    for danger in LISTED:
        assert danger in whole
    assert "more" not in whole
    assert "silent" in whole
    assert asked(settings, Question(what="more", short="TH", number=int(number))) == whole
    assert "not on call" in Questions(settings).answer(Question(what="unwatched"), "x", START)


def test_what_a_mode_makes_quiet_is_not_listed(silent: tuple[Settings, str]) -> None:
    """Nobody need watch a drained tank for a leak; what may run over is listed there too."""
    with Journal.open(silent[0].journal.path, read_only=True) as journal:
        kept = Records(journal.handle).unwatched
        in_service, laid_up = (kept.now(DEPOT, m) for m in (Mode.IN_SERVICE, Mode.LAID_UP))
        assert in_service is not None
        assert laid_up is not None
        assert kept.now("elsewhere", Mode.IN_SERVICE) is None
    assert {"tank leak", "overflow"} <= {one.danger for one in in_service}
    assert "tank leak" not in {one.danger for one in laid_up}
    assert "overflow" in {one.danger for one in laid_up}


def test_status_lists_each_with_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By reason; as JSON too; none where the service keeps no account of them."""
    settings = settings_with(tmp_path / "one.journal", tmp_path)
    words = ["status", str(settings.file)]
    kept = Unwatched()
    for danger, why in (("overflow", "level silent"), ("leak", "level silent"), ("ice", "cold")):
        kept.note(danger, blind(danger, why))
    state = orjson.dumps({"trackers": {kept.name: [kept.version, kept.snapshot()]}})
    with Journal.open(settings.journal.path) as journal:
        main(words)
        assert "Nobody watches" not in capsys.readouterr().out
        main([*words, "--json"])
        assert json.loads(capsys.readouterr().out)["depots"][0]["unwatched"] is None
        journal.commit([Step(Tick(time=START), ())], states={"tern-hollow": state})
    main(words)
    out = capsys.readouterr().out
    assert "  Nobody watches for leak, overflow: level silent.\n" in out
    assert "  Nobody watches for ice: cold.\n" in out
    main([*words, "--json"])
    row = json.loads(capsys.readouterr().out)["depots"][0]
    assert row["unwatched"] == {"cold": ["ice"], "level silent": ["leak", "overflow"]}


def test_a_state_of_another_version_is_not_known(tmp_path: Path) -> None:
    """Nothing is read out of what this version does not write."""
    with Journal.open(tmp_path / "one.journal") as journal:
        for state in (b"{}", b"[]", b"no json", b'{"trackers": {"unwatched": [0, {}]}}'):
            tick = ModeSet(depot=DEPOT, time=START + SECOND, received=START, mode=Mode.IN_SERVICE)
            journal.commit([Step(tick, ())], states={DEPOT: state})
            assert Records(journal.handle).unwatched.now(DEPOT, Mode.IN_SERVICE) is None
        blank = Engine({DEPOT: plan()}).snapshots()
        journal.commit([Step(tick, ())], states=blank)
        assert Records(journal.handle).unwatched.now(DEPOT, Mode.IN_SERVICE) == []
