"""`brineward check`: every mistake and exit code 2, or what is covered and exit code 0."""

import argparse
import json
from pathlib import Path

import pytest

from brineward.alarms.registry import CATALOGUE
from brineward.commands import check
from brineward.commands.config_file import INSTALLED_CONFIG
from brineward.wording.operator_units import level

REPOSITORY = Path(__file__).parents[2]
CONFIGS = REPOSITORY / "tests" / "configs"
SMALLEST = REPOSITORY / "config" / "smallest.toml"
TERN_HOLLOW = REPOSITORY / "config" / "tern-hollow.toml"
PUMP_BY_LEVEL = REPOSITORY / "config" / "pump-by-level.toml"


def run_check(*arguments: str) -> int:
    """The command as the command line runs it."""
    parser = argparse.ArgumentParser()
    check.add_parser(parser.add_subparsers())
    parsed = parser.parse_args(["check", *arguments])
    code: int = parsed.run(parsed)
    return code


def coverage_of(path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, dict[str, object]]:
    """What the command says of each alarm of a file's first depot."""
    assert run_check(str(path), "--json") == 0
    depot = json.loads(capsys.readouterr().out)["depots"][0]
    return {row["alarm"]: row for row in depot["coverage"]}


def test_the_examples_pass(capsys: pytest.CaptureFixture[str]) -> None:
    """Both examples are good, and their sensors, topics and people are told."""
    assert run_check(str(TERN_HOLLOW)) == 0
    said = capsys.readouterr().out
    assert "no mistakes" in said
    assert "Yard lead by phone, then Dispatch desk by phone" in said
    assert "brine/tern-hollow/hose-valve-open" in said
    assert "hose valve switch" in said
    blind = [line for line in said.splitlines() if line.split()[:1] == ["blind"]]
    assert ["mains-lost" in blind[0], "heater-failed" in blind[1]] == [True, True]
    assert len(blind) == 2
    assert run_check(str(SMALLEST)) == 0


def test_blind_alarms_say_what_would_help(capsys: pytest.CaptureFixture[str]) -> None:
    """With a tank's three sensors the level and the strength are covered; the rest says why not."""
    covered = coverage_of(SMALLEST, capsys)
    assert covered["overflow-ahead"]["how"] == "covered"
    assert covered["overflow-ahead"]["by"] == ["main-level"]
    assert covered["brine-weak"]["how"] == "covered"
    assert covered["shelter-freezing"]["how"] == "blind"
    assert "temperature" in str(covered["shelter-freezing"]["would_help"])
    assert run_check(str(SMALLEST)) == 0
    said = capsys.readouterr().out
    assert "blind" in said
    assert "would help: the shelter in the config, and a temperature at the shelter" in said


@pytest.mark.parametrize("file", [SMALLEST, TERN_HOLLOW, PUMP_BY_LEVEL])
def test_every_danger_is_named_watched_or_not(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No danger is passed over in silence because nothing in the file could show it."""
    covered = coverage_of(file, capsys)
    dangers = {name for name, record in CATALOGUE.items() if record.danger}
    assert dangers <= set(covered)
    assert all(row["how"] == "covered" or row["would_help"] for row in covered.values())


def test_what_an_empty_tank_is_taken_to_weigh_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    """A mass that the file gives is shown; one that is only taken says so, and how to give it."""
    assert run_check(str(TERN_HOLLOW)) == 0
    rows = capsys.readouterr().out.splitlines()
    (main,) = [row for row in rows if row.startswith("    main ")]
    assert main.endswith(", 661 lb empty")  # 300 kg, NIST SP 811
    (hopper,) = [row for row in rows if row.startswith("    hopper ")]
    assert (
        "assumed to weigh 224 lb empty, a light plastic tank of its size (give empty_mass)"
        in hopper
    )
    (containment,) = [row for row in rows if row.startswith("    containment ")]
    assert "empty" not in containment
    assert run_check(str(SMALLEST)) == 0
    said = capsys.readouterr().out
    assert "lb empty" not in said
    assert "empty_mass" not in said


def test_without_the_valve_switch_the_alarm_is_indirect(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pump without a switch on its valve is judged from the level, and that is said."""
    text = TERN_HOLLOW.read_text(encoding="utf-8")
    start = text.index("[depots.tern-hollow.sensors.hose-valve-open]")
    path = tmp_path / "no-switch.toml"
    path.write_text(
        text[:start] + text[text.index("[depots.tern-hollow.sensors.shelter") :], encoding="utf-8"
    )
    row = coverage_of(path, capsys)["closed-valve"]
    assert row["how"] == "indirect"
    assert row["would_help"]


def test_another_brine_leaves_strength_blind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Magnesium chloride is accepted by name, its level watched, its strength said to be blind."""
    path = tmp_path / "magnesium.toml"
    text = SMALLEST.read_text(encoding="utf-8")
    path.write_text(
        text.replace('kind = "main"', 'kind = "main"\nbrine = "magnesium chloride"'),
        encoding="utf-8",
    )
    covered = coverage_of(path, capsys)
    assert covered["overflow-ahead"]["how"] == "covered"
    assert covered["brine-weak"]["how"] == covered["brine-strong"]["how"] == "blind"


def test_an_alarm_switched_off_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the file switches off is named, and not counted as covered or blind."""
    path = tmp_path / "off.toml"
    off = "\n[depots.kettle-ridge.alarms.brine-strong]\nenabled = false\n"
    path.write_text(SMALLEST.read_text(encoding="utf-8") + off, encoding="utf-8")
    assert "brine-strong" not in coverage_of(path, capsys)
    run_check(str(path))
    assert "Switched off in this file: brine-strong." in capsys.readouterr().out


def test_mistakes_go_to_the_error_stream_and_exit_two(capsys: pytest.CaptureFixture[str]) -> None:
    """Each mistake on its own line with file, line and key; nothing on the output stream."""
    path = CONFIGS / "bad" / "range-reversed.toml"
    assert run_check(str(path)) == 2
    said = capsys.readouterr()
    assert said.out == ""
    key = "depots.tern-hollow.sensors.main-level.range"
    assert f"{path}, line 66: {key}: the range runs from 2.6 to 0" in said.err
    assert "1 mistake in this file." in said.err


def test_mistakes_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """A program reads the same: line, key, what is wrong, what was expected."""
    assert run_check(str(CONFIGS / "bad" / "accuracy-zero.toml"), "--json") == 2
    said = json.loads(capsys.readouterr().out)
    assert said["good"] is False
    assert said["mistakes"] == [
        {
            "line": 67,
            "key": "depots.tern-hollow.sensors.main-level.accuracy",
            "wrong": "0 is not above 0",
            "expected": "its plus or minus, a number above 0 in the sensor's own unit",
        }
    ]


def test_second_looks_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is no mistake and still unwise: one person on call, a password or texts in the clear."""
    path = tmp_path / "unwise.toml"
    text = (CONFIGS / "good" / "plain.toml").read_text(encoding="utf-8")
    for before, after in (
        ('host = "127.0.0.1"', 'host = "broker.example"\npassword_env = "P"'),
        ("https://", "http://"),
        ('["yard", "dispatch"]', '["yard"]'),
    ):
        text = text.replace(before, after)
    path.write_text(text, encoding="utf-8")
    assert run_check(str(path)) == 0
    said = capsys.readouterr().out
    assert "broker's password goes to broker.example unencrypted" in said
    assert "Texts by phone go to gateway.example unencrypted" in said
    assert "Dispatch desk (dispatch) is on call at no depot" in said
    assert "nobody is woken after Yard lead" in said


def test_a_sound_file_has_no_warnings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two people, a gateway that hands over replies and receipts, secrets in their places: all is
    well."""
    monkeypatch.setenv("GATEWAY_TOKEN", "salt")
    path = tmp_path / "sound.toml"
    text = (CONFIGS / "good" / "plain.toml").read_text(encoding="utf-8")
    heard = '[channels.phone.receipts]\n[replies]\nsecret = { env = "GATEWAY_TOKEN" }\n'
    path.write_text(text + heard, encoding="utf-8")
    assert run_check(str(path)) == 0
    said = capsys.readouterr().out
    assert "Warnings" not in said
    assert "Secrets" not in said


def test_a_secret_that_is_not_there_is_told_at_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A gateway's missing token shows in the check, not in the night of the first text."""
    monkeypatch.delenv("GATEWAY_TOKEN", raising=False)
    plain = str(CONFIGS / "good" / "plain.toml")
    sentence = (
        "No text goes out by channel phone: the environment variable GATEWAY_TOKEN is not set"
    )
    assert run_check(plain) == 0
    assert sentence in " ".join(capsys.readouterr().out.split())
    assert run_check(plain, "--json") == 0
    (told,) = json.loads(capsys.readouterr().out)["secrets"]
    assert told.startswith(sentence)


def test_what_is_named_and_is_not_there_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A secret, a certificate or a folder that is missing shows before the first start."""
    monkeypatch.setenv("GATEWAY_TOKEN", "salt")
    path = tmp_path / "config.toml"
    text = (CONFIGS / "good" / "plain.toml").read_text(encoding="utf-8")
    text = text.replace(
        'host = "127.0.0.1"', 'host = "127.0.0.1"\nusername = "b"\npassword_file = "no.password"'
    ).replace('path = "plain.journal"', 'path = "nowhere/plain.journal"')
    more = """
    [link.tls]
    ca_file = "no-ca.pem"
    [page]
    certificate_file = "page.pem"
    key_file = "no.key"
    [heartbeat]
    url = { file = "no.url" }
    [export.agency]
    url = "http://127.0.0.1:8086"
    org = "county"
    bucket = "brine"
    token = { env = "NO_TOKEN" }
    [channels.mail]
    kind = "mail"
    host = "mail.wexmoor.example"
    from = "brineward@wexmoor.example"
    username = "brineward"
    password = { file = "no.mail" }
    [reports]
    folder = "reports"
    mail_by = "mail"
    """
    path.write_text(text + more, encoding="utf-8")
    (tmp_path / "page.pem").write_text("a certificate", encoding="utf-8")
    assert run_check(str(path), "--json") == 0
    told = json.loads(capsys.readouterr().out)["secrets"]
    assert [one.partition(": ")[0] for one in told] == [
        "The broker can't be logged in to",
        "No heartbeat is sent",
        "Nothing is exported to agency",
        "No report is mailed",
        "The broker can't be reached by TLS",
        "The page is not served",
        "The service does not start",
    ]
    for one, named in zip(
        told,
        ["no.password", "no.url", "NO_TOKEN", "no.mail", "no-ca.pem", "no.key", "nowhere"],
        strict=True,
    ):
        assert named in one


def test_levels_are_told_in_the_units_of_the_depot(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a US depot nobody has to think in metres, in what is well or in what is wrong."""
    text = TERN_HOLLOW.read_text(encoding="utf-8")
    run_check(str(TERN_HOLLOW))
    said = capsys.readouterr().out
    assert f"brim {level(2.4, True)}, filled to {level(2.2, True)}" in said
    assert "57.1 gal/min from the main tank" in said
    path = tmp_path / "wrong.toml"
    path.write_text(text.replace('fill_mark = "2.20 m"', 'fill_mark = "2.50 m"'), encoding="utf-8")
    run_check(str(path))
    said = capsys.readouterr().err
    assert f"the fill mark ({level(2.5, True)}) is not under the brim ({level(2.4, True)})" in said


def test_without_a_name_the_installed_config_is_checked(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same file as every other command takes, and the help says which."""
    with pytest.raises(SystemExit):
        run_check("--help")
    assert str(INSTALLED_CONFIG) in capsys.readouterr().out
    monkeypatch.setattr("brineward.commands.config_file.INSTALLED_CONFIG", SMALLEST)
    assert run_check() == 0
    assert "Kettle Ridge" in capsys.readouterr().out


def test_the_schedule_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """In the order of the year, with the hour; as JSON by mode."""
    file = CONFIGS / "good" / "every-feature.toml"
    assert run_check(str(file)) == 0
    said = capsys.readouterr().out
    assert "Seasons, each from 08:00 on its day" in said
    assert said.index("04-20  being drained") < said.index("04-30  laid up")
    assert run_check(str(file), "--json") == 0
    depot = json.loads(capsys.readouterr().out)["depots"][0]
    assert depot["seasons"]["laid up"] == "04-30"
