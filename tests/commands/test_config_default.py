"""Every command that takes a config takes the same one where none is named."""

import argparse

import pytest

from brineward.commands.config_file import INSTALLED_CONFIG
from brineward.commands.main import main, parser

WITH_CONFIG = (
    "run",
    "check",
    "alarms",
    "replay",
    "status",
    "take",
    "shelve",
    "unshelve",
    "out-of-service",
    "back-in-service",
    "reset",
    "calibrate",
    "backup",
    "listen",
    "restore",
    "report",
    "export",
    "loads",
    "batches",
    "balance",
    "settings",
    "who",
    "night",
    "page",
    "drill",
)


@pytest.mark.parametrize("command", WITH_CONFIG)
def test_the_help_says_which_config_is_taken(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody has to guess, or to read the source, which file a command without one reads."""
    with pytest.raises(SystemExit):
        main([command, "--help"])
    assert f"default: {INSTALLED_CONFIG}" in " ".join(capsys.readouterr().out.split())


def test_no_command_with_a_config_is_left_out() -> None:
    """A command that is added with a CONFIG of its own rule shows here."""
    (commands,) = (
        action for action in parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    taking = {
        name
        for name, command in commands.choices.items()
        if any(action.dest in ("config", "files") for action in command._actions)
    }
    assert taking == set(WITH_CONFIG)
    for name in taking - {"replay"}:
        assert commands.choices[name].get_default("config") == INSTALLED_CONFIG
