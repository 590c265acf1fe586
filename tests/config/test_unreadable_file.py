"""A config file that can't be read at all is one mistake with what to do, never a crash."""

import errno
import os
from pathlib import Path
from unittest.mock import Mock

import pytest

from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes


def mistakes_in(path: Path) -> list[str]:
    """Every mistake of a file, as it is printed, without the file's name."""
    with pytest.raises(ConfigMistakes) as caught:
        load_settings(path)
    return [str(m).removeprefix(str(path)).lstrip(",: ") for m in caught.value.mistakes]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """A missing file, a folder and a name that no file can have are mistakes, not crashes."""
    missing = mistakes_in(tmp_path / "missing.toml")
    assert missing == ["can't be read: No such file or directory; expected a config file"]
    assert mistakes_in(tmp_path) == ["can't be read: Is a directory; expected a config file"]
    assert len(mistakes_in(Path("a\0b"))) == 1


def test_a_file_that_others_may_read_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The installed config is for root and the service: whoever else asks reads what to do."""
    denied = PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    monkeypatch.setattr(Path, "open", Mock(side_effect=denied))
    assert mistakes_in(tmp_path / "others.toml") == [
        "can't be read: Permission denied; expected a file that you may read: try with sudo"
    ]
