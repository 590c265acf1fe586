"""A file of an older version is brought forward with everything in it."""

import sqlite3
from pathlib import Path

import pytest

from brineward.decode.hand_tests import hand_test
from brineward.journal import Journal, JournalUnusable
from brineward.journal.schema import VERSION
from brineward.readings.entries import Answer, Delivery, HandTest, LinkChanged, Take
from brineward.readings.outputs import Derived, Notice, Priority, Step, TextDue
from brineward.readings.values import Quality, Reading, Refusal, TimedBy
from journal.samples import T0, asked, episode, plain, reading

# Recorded: the tables of version 1 as they were written, and rows as that version left them.
# Never edited: files like this one are out there.
VERSION_1 = (
    "CREATE TABLE progress (only INTEGER PRIMARY KEY CHECK (only = 1), last_seq INTEGER NOT NULL)",
    "INSERT INTO progress VALUES (1, 0)",
    # A sensor or a derived value of a depot.
    """CREATE TABLE series (
        id INTEGER PRIMARY KEY, depot TEXT NOT NULL, name TEXT NOT NULL, UNIQUE (depot, name))""",
    # Quality, reason, whose clock, retained, silent-after, as a JSON list; 0 is the plain one.
    "CREATE TABLE mark (id INTEGER PRIMARY KEY, body TEXT NOT NULL UNIQUE)",
    # lag: milliseconds from measured to received.
    """CREATE TABLE reading (
        seq INTEGER PRIMARY KEY, series INTEGER NOT NULL, time INTEGER NOT NULL, value REAL,
        mark INTEGER NOT NULL, lag INTEGER NOT NULL)""",
    "CREATE UNIQUE INDEX reading_by_time ON reading (series, time)",
    # Readings whose sensor and time were taken already: with another value (a conflict), or the
    # same again where the engine concluded something new when it came.
    """CREATE TABLE second_reading (
        seq INTEGER PRIMARY KEY, series INTEGER NOT NULL, time INTEGER NOT NULL, value REAL,
        mark INTEGER NOT NULL, lag INTEGER NOT NULL, conflict INTEGER NOT NULL)""",
    "CREATE INDEX second_reading_by_time ON second_reading (series, time)",
    """CREATE TABLE refusal (
        seq INTEGER PRIMARY KEY, series INTEGER NOT NULL, received INTEGER NOT NULL,
        reason TEXT NOT NULL)""",
    # The last few of each sensor, whole: a ring, so that a flood of rubbish can't fill the disk.
    """CREATE TABLE refusal_kept (
        series INTEGER NOT NULL, slot INTEGER NOT NULL, seq INTEGER NOT NULL,
        sentence TEXT NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL,
        PRIMARY KEY (series, slot)) WITHOUT ROWID""",
    "CREATE UNIQUE INDEX refusal_kept_by_seq ON refusal_kept (seq)",
    # Counts that are kept for ever.
    """CREATE TABLE tally (
        series INTEGER NOT NULL, sort TEXT NOT NULL, reason TEXT NOT NULL, count INTEGER NOT NULL,
        last INTEGER NOT NULL, PRIMARY KEY (series, sort, reason)) WITHOUT ROWID""",
    # Every other entry. An empty depot means all of them.
    """CREATE TABLE happening (
        seq INTEGER PRIMARY KEY, kind TEXT NOT NULL, time INTEGER NOT NULL, depot TEXT NOT NULL,
        body TEXT NOT NULL)""",
    "CREATE INDEX happening_by_time ON happening (kind, time)",
    """CREATE TABLE derived (
        place INTEGER PRIMARY KEY, series INTEGER NOT NULL, time INTEGER NOT NULL, value REAL,
        uncertainty REAL, calibrated INTEGER NOT NULL)""",
    "CREATE INDEX derived_by_time ON derived (series, time)",
    # Alarm changes, episodes and texts due, as concluded.
    """CREATE TABLE output (
        place INTEGER PRIMARY KEY, kind TEXT NOT NULL, time INTEGER NOT NULL, depot TEXT NOT NULL,
        same TEXT NOT NULL, body TEXT NOT NULL)""",
    "CREATE UNIQUE INDEX output_by_time ON output (depot, kind, time, same)",
    """CREATE TABLE alarm (
        depot TEXT NOT NULL, alarm TEXT NOT NULL, source TEXT NOT NULL, state TEXT NOT NULL,
        since INTEGER NOT NULL, body TEXT NOT NULL,
        PRIMARY KEY (depot, alarm, source)) WITHOUT ROWID""",
    "CREATE TABLE snapshot (depot TEXT PRIMARY KEY, seq INTEGER NOT NULL, state BLOB NOT NULL)",
    """CREATE TABLE inbox (
        id INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, body TEXT NOT NULL)""",
    """CREATE TABLE text (
        id TEXT PRIMARY KEY, depot TEXT NOT NULL, number INTEGER NOT NULL, person TEXT NOT NULL,
        kind TEXT NOT NULL, priority TEXT NOT NULL, body TEXT NOT NULL, created INTEGER NOT NULL,
        state TEXT NOT NULL, attempts INTEGER NOT NULL, next_attempt INTEGER NOT NULL,
        attempted INTEGER, settled INTEGER, receipt TEXT NOT NULL, why TEXT NOT NULL)""",
    "CREATE INDEX text_open ON text (next_attempt) WHERE state = 'open'",
    "CREATE INDEX text_by_time ON text (created)",
    "CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL)",
    """CREATE TABLE service (
        only INTEGER PRIMARY KEY CHECK (only = 1), pid INTEGER, version TEXT, config_hash TEXT,
        started INTEGER, beat INTEGER, last_commit INTEGER, link_up INTEGER,
        link_changed INTEGER, link_why TEXT)""",
    "INSERT INTO service (only) VALUES (1)",
)

ROWS = (
    "UPDATE progress SET last_seq = 5",
    "INSERT INTO series VALUES (1, 'tern-hollow', 'main-level'), (2, 'tern-hollow', 'strength')",
    """INSERT INTO mark VALUES (1, '["uncertain","clock ahead","arrival",true,60.0]')""",
    "INSERT INTO reading VALUES (1, 1, 1767225600000, 1.5, 0, 40)",
    "INSERT INTO reading VALUES (2, 1, 1767225601000, NULL, 1, 0)",
    "INSERT INTO refusal VALUES (3, 1, 1767225602000, 'too-long')",
    "INSERT INTO refusal_kept VALUES (1, 1, 3, 'It is too long.', 'a/b', x'ff00')",
    "INSERT INTO tally VALUES (1, 'refusal', 'too-long', 41, 1767225602000)",
    """INSERT INTO happening VALUES (4, 'link', 1767225603000, '',
        '{"time":1767225603000,"up":true,"gap":false,"why":""}')""",
    "INSERT INTO reading VALUES (5, 1, 1767225604000, 0.0, 0, 0)",
    "INSERT INTO derived VALUES (327680, 2, 1767225604000, 0.23, 0.002, 1)",
    """INSERT INTO output VALUES (327681, 'text', 1767225604000, 'tern-hollow',
        'tern-hollow-1-raised-1-yard', '{"id":"tern-hollow-1-raised-1-yard","time":1767225604000,
        "depot":"tern-hollow","number":1,"person":"yard","kind":"raised","priority":"high",
        "body":"TH1"}')""",
    """INSERT INTO text VALUES ('tern-hollow-1-raised-1-yard', 'tern-hollow', 1, 'yard', 'raised',
        'high', 'TH1', 1767225604000, 'open', 1, 1767225604000, 1767225604500, NULL, '', '')""",
    "INSERT INTO snapshot VALUES ('tern-hollow', 4, x'0102')",
    "INSERT INTO cursor VALUES ('export', 3)",
    "PRAGMA application_id = 1112690250",
    "PRAGMA user_version = 1",
)

# Recorded: what version 2 kept of acts, deliveries, episodes and alarms.
VERSION_2 = (
    """CREATE TABLE hour (
        series INTEGER NOT NULL, derived INTEGER NOT NULL, time INTEGER NOT NULL,
        count INTEGER NOT NULL, low REAL NOT NULL, total REAL NOT NULL, high REAL NOT NULL,
        PRIMARY KEY (series, derived, time)) WITHOUT ROWID""",
    """INSERT INTO happening VALUES (6, 'act', 1767225606000, 'tern-hollow',
        '{"depot":"tern-hollow","time":1767225606000,"received":1767225606000,"act":"take",
        "fields":{"number":1,"by":"yard"}}')""",
    """INSERT INTO happening VALUES (7, 'act', 1767225607000, 'tern-hollow',
        '{"depot":"tern-hollow","time":1767225607000,"received":1767225607000,"act":"test",
        "fields":{"vessel":"main","specific_gravity":1.178,"temperature_c":15.6,"by":"yard"}}')""",
    """INSERT INTO happening VALUES (8, 'act', 1767225608000, 'tern-hollow',
        '{"depot":"tern-hollow","time":1767225608000,"received":1767225608000,"act":"answer",
        "fields":{"person":"yard","body":"No more texts.","kind":"opted out"}}')""",
    """INSERT INTO happening VALUES (9, 'act', 1767225609000, 'tern-hollow',
        '{"depot":"tern-hollow","time":1767225609000,"received":1767225609000,"act":"test",
        "fields":{"vessel":"main","specific_gravity":11.8,"temperature_c":15.6}}')""",
    "INSERT INTO happening VALUES (10, 'act', 1767225609500, 'tern-hollow', '{cut sho')",
    """INSERT INTO happening VALUES (11, 'delivery', 1767225610000, 'tern-hollow',
        '{"depot":"tern-hollow","time":1767225610000,"text":"tern-hollow-1-raised-1-yard",
        "outcome":"dead","why":"503"}')""",
    """INSERT INTO output VALUES (720896, 'episode', 1767225610000, 'tern-hollow',
        'fill|main|1767225604000|None', '{"time":1767225610000,"depot":"tern-hollow",
        "episode":"fill","source":"main","began":1767225604000,"ended":null,"amount_m3":null}')""",
    """INSERT INTO output VALUES (720897, 'alarm', 1767225610000, 'tern-hollow',
        'brine-weak|main|41|normal|unacknowledged', '{"time":1767225610000,"depot":"tern-hollow",
        "alarm":"brine-weak","source":"main","number":41,"before":"normal",
        "state":"unacknowledged","priority":"medium","value":0.21,"limit":0.22,"unit":"1",
        "sentence":"weak","by":""}')""",
    """INSERT INTO output VALUES (720898, 'episode', 1767225610000, 'tern-hollow',
        'fill|main|1767225604000|1767225610000', '{"time":1767225610000,"depot":"tern-hollow",
        "episode":"fill","source":"main","began":1767225604000,"ended":1767225610000,
        "amount_m3":0.25}')""",
    """INSERT INTO output VALUES (720899, 'text', 1767225610000, 'tern-hollow',
        'tern-hollow-1-over-2-yard', '{"id":"tern-hollow-1-over-2-yard","time":1767225610000,
        "depot":"tern-hollow","number":1,"person":"yard","kind":"over","priority":"high",
        "body":"TH1 over"}')""",
    """INSERT INTO text VALUES ('tern-hollow-0-answer-7-night-desk-2', 'tern-hollow', 0,
        'night-desk-2', 'answer', 'medium', 'Done.', 1767225604000, 'accepted', 1, 1767225604000,
        1767225604500, 1767225604500, 'r', '')""",
    """INSERT INTO inbox (kind, body) VALUES ('act', '{"depot":"tern-hollow",
        "time":1767225611000,"received":1767225611000,"act":"take",
        "fields":{"number":41,"by":"yard"}}')""",
    "UPDATE progress SET last_seq = 11",
    "PRAGMA user_version = 2",
)


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    """A file as version 1 left it."""
    path = tmp_path / "old.journal"
    db = sqlite3.connect(path, isolation_level=None)
    for statement in (*VERSION_1, *ROWS):
        db.execute(statement)
    db.execute("PRAGMA journal_mode = WAL")
    db.close()
    return path


def test_an_old_file_comes_forward_whole(old_file):
    """Entries, outputs, open texts, states, counts and positions are all there afterwards."""
    with pytest.raises(JournalUnusable, match="written by an older brineward"):
        Journal.open(old_file, read_only=True)
    due = TextDue(
        id="tern-hollow-1-raised-1-yard",
        time=T0 + 4000,
        depot="tern-hollow",
        number=1,
        person="yard",
        kind="raised",
        priority=Priority.HIGH,
        notice=Notice(kind="raised", plain="TH1"),
    )
    strength = Derived(
        time=T0 + 4000,
        depot="tern-hollow",
        name="strength",
        value=0.23,
        standard_uncertainty=0.002,
        calibrated=True,
    )
    marked = (T0 + 1000, Quality.UNCERTAIN, "clock ahead", TimedBy.ARRIVAL, True, 60.0)
    expected = [
        Step(reading(0), ()),
        Step(Reading("tern-hollow", "main-level", T0 + 1000, None, *marked), ()),
        Step(
            Refusal(
                "tern-hollow",
                "main-level",
                T0 + 2000,
                "too-long",
                "It is too long.",
                "a/b",
                b"\xff\0",
            ),
            (),
        ),
        Step(LinkChanged(time=T0 + 3000, up=True), ()),
        Step(reading(4000, 0.0, received=T0 + 4000), (strength, due)),
    ]
    with Journal.open(old_file, check=True) as journal:
        assert [Step(one.entry, one.outputs) for one in journal.ordering.steps()] == expected
        resumed = journal.resuming.resume(["tern-hollow"])
        assert (resumed.states, [one.seq for one in resumed.tail]) == (
            {"tern-hollow": b"\1\2"},
            [5],
        )
        assert [(one.id, one.attempts) for one in journal.outbox.texts_open(T0 + 9999)] == [
            (due.id, 1)
        ]
        assert asked(journal).refusals.counts()[0].count == 41
        assert journal.cursors.at("export") == 3
        assert journal.handle._db.execute("PRAGMA user_version").fetchone() == (VERSION,)
        # What the newer version added works on the old rows.
        journal.commit(plain(reading(9000)), states={"tern-hollow": b"s"})
        journal.thinning.thin(T0 + 10**9, 0.0)
        (hour,) = asked(journal).readings.buckets(
            "tern-hollow", "main-level", T0, T0 + 10**7, 3600.0
        )
        assert (hour.count, hour.low, hour.high) == (3, 0.0, 1.5)
    Journal.open(old_file, read_only=True).close()


@pytest.fixture
def older_file(old_file: Path) -> Path:
    """The same file as version 2 went on with it."""
    db = sqlite3.connect(old_file, isolation_level=None)
    for statement in VERSION_2:
        db.execute(statement)
    db.close()
    old_file.chmod(0o644)
    return old_file


def test_acts_episodes_and_texts_of_version_2_are_told_in_today_s_words(older_file):
    """Loose acts are typed, a delivery knows its text's number, an episode is one row."""
    with Journal.open(older_file, check=True) as journal:
        acts = asked(journal).acts.between("tern-hollow")
        test = acts[1]
        assert isinstance(test, HandTest)
        # What the mark says is checked against published tables in tests/physics.
        shown = hand_test(
            {"vessel": "main", "specific_gravity": 1.178, "temperature_c": 15.6},
            depot="tern-hollow",
            now=T0 + 7000,
        )
        assert test.mass_fraction == shown.mass_fraction
        assert (test.time, test.at) == (T0 + 7000, T0 + 7000)
        assert (test.vessel, test.by, test.entered) == ("main", "yard", "1.178 at 15.6 degC")
        when = {"depot": "tern-hollow", "time": T0 + 6000, "received": T0 + 6000}
        assert acts[0] == Take(number=1, by="yard", **when)
        assert isinstance(acts[2], Answer)
        assert (acts[2].person, acts[2].body, acts[2].opted) == ("yard", "No more texts.", "out")
        *_, last = journal.ordering.steps()
        assert last.entry == Delivery(
            depot="tern-hollow",
            time=T0 + 10_000,
            text="tern-hollow-1-raised-1-yard",
            number=1,
            person="yard",
            outcome="dead",
            why="503",
        )
        begun, weak, ended, cleared = last.outputs
        assert (begun, ended) == (
            episode(time=10_000, began=T0 + 4000),
            episode(time=10_000, began=T0 + 4000, ended=T0 + 10_000, amount_m3=0.25),
        )
        assert (weak.number, cleared.kind) == (41, "cleared")
        assert cleared.notice == Notice(kind="cleared", plain="TH1 over")
        assert journal.resuming.last_numbers("tern-hollow") == (41, 7)
        assert [entry for _, entry in journal.inbox.waiting()] == [
            Take(depot="tern-hollow", time=T0 + 11_000, received=T0 + 11_000, number=41, by="yard")
        ]


def test_an_act_that_is_none_is_set_aside_and_counted(older_file):
    """A hydrometer's 11.8 and a body cut short stop nothing: they are kept, with why."""
    with Journal.open(older_file) as journal:
        assert asked(journal).set_aside() == 2
        whys = [row[0] for row in journal.handle._db.execute("SELECT why FROM set_aside")]
        assert "is not brine" in whys[0]
        assert len(asked(journal).acts.between("tern-hollow")) == 3


def test_an_old_file_is_narrowed_to_its_owner_when_it_comes_forward(older_file):
    """Names and numbers are in it; a new one is made so as well."""
    Journal.open(older_file).close()
    assert older_file.stat().st_mode & 0o777 == 0o600


def test_each_file_has_a_mark_of_its_own(old_file, tmp_path):
    """Brought forward or made new, the mark is drawn once and no other file has it."""
    marks = []
    for path in (old_file, tmp_path / "new.journal", old_file):
        with Journal.open(path) as journal:
            marks.append(journal.handle._db.execute("SELECT mark FROM identity").fetchone()[0])
    assert marks[0] == marks[2] != marks[1]
    assert len(marks[0]) == 12


def test_a_new_file_has_the_tables_of_an_old_one_brought_forward(old_file, tmp_path):
    """Made new or brought forward, the tables are the same to the letter."""
    new = tmp_path / "new.journal"
    tables = []
    for path in (old_file, new):
        with Journal.open(path) as journal:
            tables.append(
                journal.handle._db.execute("SELECT sql FROM sqlite_schema ORDER BY name").fetchall()
            )
    assert tables[0] == tables[1]


def test_coming_forward_is_all_or_nothing(old_file, monkeypatch):
    """A step that fails leaves the old file as it was, for the older version to go on with."""
    broken = ("CREATE TABLE another (x)", "CREATE TABLE series (x)")
    monkeypatch.setattr("brineward.journal.schema.MIGRATIONS", ((), broken))
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        Journal.open(old_file)
    db = sqlite3.connect(old_file)
    assert db.execute("PRAGMA user_version").fetchone() == (1,)
    names = [row[0] for row in db.execute("SELECT name FROM sqlite_schema")]
    assert "another" not in names
    db.close()
