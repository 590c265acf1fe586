"""deploy/install.sh and its undo, rehearsed for real under a scratch root.

The whole of it with a user, systemd and a reboot needs a machine of its own; what a rehearsal
leaves out (`--root`) is the user, the start, and mosquitto's restart.
"""

import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brokers import Mosquitto
from checkout import ROOT
from link.linking import linked

DEPLOY = ROOT / "deploy"

pytestmark = pytest.mark.skipif(
    os.geteuid() != 0, reason="the installer is for root, even in a rehearsal: run this as root"
)


def rehearsed(
    script: str, root: Path, *options: str, **variables: str
) -> subprocess.CompletedProcess[str]:
    """A script of deploy/ under that root, with nobody at the keyboard."""
    return subprocess.run(
        ["sh", str(DEPLOY / script), "--root", str(root), *options],
        env={
            **os.environ,
            "PATH": "/usr/local/bin:/usr/bin:/bin",
            "PYTHON": str(Path(sys.executable).resolve()),
            **variables,
        },
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
    )


def files(root: Path) -> set[str]:
    """Everything under that root but the inside of the program's own environment."""
    found = (path.relative_to(root) for path in root.rglob("*") if not path.is_dir())
    return {str(path) for path in found if path.parts[:2] != ("opt", "brineward")}


CONFIG = "etc/brineward/brineward.toml"
BROKER = "etc/mosquitto/conf.d/brineward.conf"
UNIT = "etc/systemd/system/brineward.service"
PAGE_UNIT = "etc/systemd/system/brineward-page.service"
ACL = "etc/mosquitto/brineward.acl"
LOGINS = "etc/mosquitto/brineward.passwd"
PASSWORD = "etc/brineward/mqtt.password"
LOGIN = {ACL, LOGINS, PASSWORD}
INSTALLED = {
    CONFIG,
    BROKER,
    UNIT,
    PAGE_UNIT,
    "etc/brineward/secrets.env",
    "usr/local/bin/brineward",
    *LOGIN,
}


@pytest.fixture(scope="module")
def box(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A scratch root with brineward installed; each test leaves it so."""
    root = tmp_path_factory.mktemp("box")
    done = rehearsed("install.sh", root, "--yes")
    assert done.returncode == 0, done.stderr
    assert "Installed, and not started" in done.stdout
    assert "still the made-up depot" in done.stdout
    return root


def test_nothing_is_done_before_a_yes(tmp_path: Path) -> None:
    """It says what it will do, asks, and takes silence for a no; so does its undo."""
    for script in ("install.sh", "uninstall.sh"):
        done = rehearsed(script, tmp_path)
        assert done.returncode == 1
        assert "Go on? [y/N]" in done.stdout
        assert done.stderr == "Nothing was done.\n"
    assert files(tmp_path) == set()


def test_everything_is_in_its_place(box: Path) -> None:
    """The files, the secrets readable by root alone, the journal's folder closed to others."""
    assert files(box) == INSTALLED
    assert (box / "etc/brineward/secrets.env").stat().st_mode & 0o777 == 0o600
    assert (box / CONFIG).stat().st_mode & 0o777 == 0o640
    assert (box / "var/lib/brineward").stat().st_mode & 0o777 == 0o750
    assert (box / "usr/local/bin/brineward").readlink() == Path("/opt/brineward/bin/brineward")
    program = Path("opt/brineward/bin/brineward")
    assert f"ExecStart=/{program} run /{CONFIG}\n" in (box / UNIT).read_text()
    assert f"ExecStart=/{program} page /{CONFIG}\n" in (box / PAGE_UNIT).read_text()
    assert (box / program).exists()
    # A rehearsal restarts nothing: the note stays that mosquitto has not read its files yet.
    assert (box / "opt/brineward/placed/restart-mosquitto").exists()


def test_the_service_has_a_login_of_its_own(box: Path) -> None:
    """A password that nobody has seen: the config names its file, mosquitto has a hash of it, and
    nobody else may read either; run again, it stays the same."""
    password = (box / PASSWORD).read_text()
    assert re.fullmatch("[0-9a-f]{32}", password)
    assert (box / PASSWORD).stat().st_mode & 0o777 == 0o640
    assert (box / LOGINS).stat().st_mode & 0o777 == 0o640
    assert (box / LOGINS).read_text().startswith("brineward:$")
    assert password not in (box / LOGINS).read_text()
    settings = load_settings(box / CONFIG).link
    assert settings.username == "brineward"
    assert settings.password is not None
    assert settings.password.file == box / PASSWORD
    assert rehearsed("install.sh", box, "--yes").returncode == 0
    assert (box / PASSWORD).read_text() == password


def test_mosquitto_lets_the_service_in_and_nobody_else(box: Path, tmp_path: Path) -> None:
    """What install.sh has laid down works as it lies there: with the login, not without."""
    changed = {
        "allow_anonymous": "false",
        "password_file": str(box / LOGINS),
        "acl_file": str(box / ACL),
    }
    broker = Mosquitto(tmp_path / "mosquitto", changed)
    broker.start()
    try:
        settings = replace(load_settings(box / CONFIG).link, port=broker.port)
        with linked(settings) as worker:
            assert worker.take_until_change(1).up
        with linked(replace(settings, username=None, password=None)) as worker:
            assert "refused us: Not authorized" in worker.take_until_change(1).why
    finally:
        broker.kill()


def test_a_config_without_a_login_is_not_locked_out(box: Path) -> None:
    """An upgrade over a config that logs in as nobody leaves the broker's settings as they are,
    and says why."""
    good, broker = (box / CONFIG).read_text(), (box / BROKER).read_text()
    (box / CONFIG).write_text(good.replace('username = "brineward"\n', "", 1))
    older = "# an older version's\nallow_anonymous true\n"
    for place in (box / BROKER, box / "opt/brineward/placed/brineward.conf"):
        place.write_text(older)
    try:
        done = rehearsed("install.sh", box, "--yes")
        assert (box / BROKER).read_text() == older
    finally:
        (box / CONFIG).write_text(good)
        for place in (box / BROKER, box / "opt/brineward/placed/brineward.conf"):
            place.write_text(broker)
    assert done.returncode == 0, done.stderr
    assert "etc/mosquitto/brineward.passwd knows, and the new settings let nobody" in done.stdout


def test_the_program_stands_without_the_checkout(box: Path, tmp_path: Path) -> None:
    """It runs from its own copy, and its config keeps the journal where the service may write."""
    program = box / "opt/brineward/bin"
    where = subprocess.run(
        [program / "python", "-c", "import brineward; print(brineward.__file__)"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert where.stdout.startswith(str(box))
    done = subprocess.run(
        [program / "brineward", "check", box / CONFIG],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Journal /var/lib/brineward/brineward.journal." in done.stdout


def test_what_was_changed_by_hand_is_kept(box: Path) -> None:
    """Run again, it touches no config, and no unit or broker settings that somebody changed."""
    before = {name: (box / name).read_text() for name in (CONFIG, BROKER, UNIT, PAGE_UNIT)}
    for name, text in before.items():
        (box / name).write_text(text + "# ours\n")
    try:
        done = rehearsed("install.sh", box, "--yes")
        assert done.returncode == 0, done.stderr
        assert done.stderr.count("changed by hand") == 3
        assert "Installed, and not started: systemd" in done.stdout
        for name, text in before.items():
            assert (box / name).read_text() == text + "# ours\n"
    finally:
        for name, text in before.items():
            (box / name).write_text(text)


def test_what_was_not_changed_is_brought_up_to_date(box: Path) -> None:
    """An older version's units, as that version placed them, give way to this one's."""
    current = {name: (box / name).read_text() for name in (UNIT, PAGE_UNIT)}
    for name in current:
        for place in (box / name, box / "opt/brineward/placed" / Path(name).name):
            place.write_text("# an older version's\n")
    done = rehearsed("install.sh", box, "--yes")
    for name, text in current.items():
        assert f"{box / name} is brought up to date" in done.stdout
        assert (box / name).read_text() == text


def test_an_environment_that_must_be_made_anew_is_swapped_in_whole(box: Path) -> None:
    """Its Python has no pip any more, as after an upgrade of the machine. Without a network the old
    program stays as it is; with one the new program stands in its place, and what the installer had
    placed is still known as its own: an older version's unit is brought up to date."""
    program = box / "opt/brineward"
    (pip,) = program.glob("lib/python3*/site-packages/pip")
    shutil.rmtree(pip)
    current = (box / UNIT).read_text()
    for place in (box / UNIT, program / "placed" / Path(UNIT).name):
        place.write_text("# an older version's\n")
    check = [program / "bin/brineward", "check", box / CONFIG]
    alone = {"PATH": "/usr/bin:/bin"}
    done = rehearsed("install.sh", box, "--yes", PIP_NO_INDEX="1")
    assert done.returncode == 1
    assert "is this machine online" in done.stderr
    assert not pip.exists()
    subprocess.run(check, env=alone, capture_output=True, check=True)
    done = rehearsed("install.sh", box, "--yes")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "still the made-up depot" in done.stdout
    assert (box / UNIT).read_text() == current
    subprocess.run(check, env=alone, capture_output=True, check=True)
    assert f"#!{program}/bin/python" in (program / "bin/brineward").read_text()
    assert {one.name for one in program.parent.iterdir()} == {"brineward"}


def test_a_swap_that_was_broken_off_is_done_again(tmp_path: Path) -> None:
    """Between its two steps the old environment has another name, and is put back first."""
    old = tmp_path / "program.old"
    old.mkdir()
    (old / "pyvenv.cfg").write_text("home = /usr/bin\n")
    run = '. "$0/venv.sh"; put_back "$1"; put_back "$1"'
    subprocess.run(["sh", "-ec", run, DEPLOY, tmp_path / "program"], check=True, timeout=60)
    assert (tmp_path / "program/pyvenv.cfg").exists()
    assert not old.exists()


def test_a_config_with_mistakes_is_not_started(box: Path) -> None:
    """The mistakes are shown, and the exit code says that there is something to do."""
    good = (box / CONFIG).read_text()
    (box / CONFIG).write_text(good.replace('short = "TH"', "short = 5"))
    try:
        done = rehearsed("install.sh", box, "--yes")
    finally:
        (box / CONFIG).write_text(good)
    assert done.returncode == 1
    assert "depots.tern-hollow.short: is a number" in done.stderr
    assert done.stderr.splitlines()[-1].startswith("Installed, but not started: mend")


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("", "not started: the config has no [page]"),
        ("[page]\n", "not started: the service serves the page itself"),
        ('[page]\nserved_by = "unit"\n', "started, as [page] in the config says"),
    ],
)
def test_the_pages_own_unit_is_started_where_the_config_says(
    box: Path, table: str, said: str
) -> None:
    """Beside a service that serves the page there is no second one."""
    good = (box / CONFIG).read_text()
    (box / CONFIG).write_text(f"{good}\n{table}")
    try:
        done = rehearsed("install.sh", box)
    finally:
        (box / CONFIG).write_text(good)
    assert f"{box / PAGE_UNIT} is as it should be; {said}" in done.stdout


def test_a_broker_set_up_by_other_hands_is_left_alone(tmp_path: Path) -> None:
    """Where mosquitto has a listener already, no second one is put beside it; nothing is asked."""
    other = tmp_path / "etc/mosquitto/conf.d/plant.conf"
    other.parent.mkdir(parents=True)
    other.write_text("listener 1883\n")
    done = rehearsed("install.sh", tmp_path)
    assert f"left alone: {other} already sets up mosquitto here" in done.stdout


def test_the_undo_keeps_the_records(box: Path, tmp_path: Path) -> None:
    """Uninstalled: program, unit and broker settings go; journal, config and secrets stay.

    Twice is as good as once, and with --purge nothing is left.
    """
    root = tmp_path / "box"
    shutil.copytree(box, root, symlinks=True)
    (root / "var/lib/brineward/brineward.journal").write_text("a season's records")
    edited = [f"{unit}.d/override.conf" for unit in (UNIT, PAGE_UNIT)]  # as `systemctl edit` makes
    for name in edited:
        (root / name).parent.mkdir()
        (root / name).write_text("[Service]\nTimeoutStopSec=120\n")
    for _ in range(2):
        done = rehearsed("uninstall.sh", root, "--yes")
        assert done.returncode == 0, done.stderr
        kept = {
            CONFIG,
            "etc/brineward/secrets.env",
            "var/lib/brineward/brineward.journal",
            *edited,
            *LOGIN,
        }
        assert files(root) == kept
        assert not (root / "opt/brineward").exists()
    done = rehearsed("uninstall.sh", root, "--yes", "--purge")
    assert done.returncode == 0, done.stderr
    assert files(root) == set()
