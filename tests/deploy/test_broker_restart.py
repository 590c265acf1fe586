"""deploy/places.sh: mosquitto is restarted until it has read what install.sh placed.

systemctl is played: it notes what it is asked, and answers from files.
"""

import os
import subprocess
from pathlib import Path

import pytest

from checkout import ROOT

SYSTEMCTL = """#!/bin/sh
echo "$*" >>"$PLAYED/asked"
case $1 in
is-active) [ -e "$PLAYED/$3 runs" ] ;;
restart) [ ! -e "$PLAYED/$2 can't start" ] && : >"$PLAYED/$2 runs" ;;
esac
"""


@pytest.fixture
def played(tmp_path: Path) -> Path:
    """A systemctl, a root for what is placed, and a file to place."""
    (tmp_path / "bin").mkdir()
    (tmp_path / "root").mkdir()
    program = tmp_path / "bin" / "systemctl"
    program.write_text(SYSTEMCTL)
    program.chmod(0o755)
    (tmp_path / "new.conf").write_text("listener 1883\n")
    return tmp_path


def ran(played: Path, lines: str) -> subprocess.CompletedProcess[str]:
    """Lines of a script that has sourced places.sh, as install.sh does."""
    return subprocess.run(
        ["sh", "-euc", f'. "$0"; set_places "$PLAYED/root"\n{lines}', ROOT / "deploy/places.sh"],
        env={**os.environ, "PATH": f"{played}/bin:/usr/bin:/bin", "PLAYED": str(played)},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def restarts(played: Path) -> int:
    """How often mosquitto was restarted."""
    asked = played / "asked"
    return asked.read_text().count("restart mosquitto.service") if asked.exists() else 0


PLACE = 'place_for_broker "$PLAYED/new.conf" "$broker_conf"\n'


def test_a_run_that_stops_first_leaves_the_restart_to_the_next(played: Path) -> None:
    """The first run ends after placing; the next finds the file as it should be, and restarts."""
    (played / "mosquitto.service runs").touch()
    assert ran(played, f"{PLACE}exit 1").returncode == 1
    assert restarts(played) == 0
    assert ran(played, f"{PLACE}restart_broker").returncode == 0
    assert restarts(played) == 1
    assert ran(played, f"{PLACE}restart_broker").returncode == 0
    assert restarts(played) == 1


def test_a_restart_that_fails_is_tried_again(played: Path) -> None:
    """Until it has succeeded, also where the broker still runs with what it read before."""
    (played / "mosquitto.service runs").touch()
    obstacle = played / "mosquitto.service can't start"
    obstacle.touch()
    assert ran(played, f"{PLACE}restart_broker || exit 7").returncode == 7
    obstacle.unlink()
    assert ran(played, f"{PLACE}restart_broker || exit 7").returncode == 0
    assert restarts(played) == 2


def test_a_broker_that_does_not_run_is_started(played: Path) -> None:
    """Nothing changed, and mosquitto is not there: the service would wait for it in vain."""
    assert ran(played, f"{PLACE}restart_broker").returncode == 0
    (played / "mosquitto.service runs").unlink()
    assert ran(played, f"{PLACE}restart_broker").returncode == 0
    assert restarts(played) == 2


def test_settings_changed_by_hand_restart_nothing(played: Path) -> None:
    """They are kept, so there is nothing new to read, run after run."""
    (played / "mosquitto.service runs").touch()
    conf = played / "root/etc/mosquitto/conf.d/brineward.conf"
    conf.parent.mkdir(parents=True)
    conf.write_text("# ours\n")
    done = ran(played, f"{PLACE}restart_broker")
    assert done.returncode == 0
    assert "changed by hand" in done.stderr
    assert restarts(played) == 0
    assert conf.read_text() == "# ours\n"


def test_an_upgrade_says_that_the_old_service_still_runs(played: Path) -> None:
    """With mistakes in the config nothing is restarted; what runs is not called stopped."""
    assert ran(played, "not_started yes").stdout == "Installed, but not started:\n"
    assert ran(played, "not_started no").stdout == "Installed, but not started:\n"
    (played / "brineward.service runs").touch()
    said = ran(played, "not_started yes").stdout
    assert said == (
        "Installed, but the service was not restarted: it still runs as it was before;\n"
    )
