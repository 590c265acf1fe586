"""Secrets are found where the config says, and an error never quotes one."""

from pathlib import Path

import pytest

from brineward.config.secret_table import Secret
from brineward.config.secrets import LONGEST_SECRET, SecretMissing, read_secret


def test_a_secret_is_read_at_use(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A changed variable or file counts at once, and a file's line end is no part of it."""
    variable = Secret(environment="BRINEWARD_TEST_SECRET")
    monkeypatch.setenv("BRINEWARD_TEST_SECRET", "salt one")
    assert read_secret(variable) == "salt one"
    monkeypatch.setenv("BRINEWARD_TEST_SECRET", "salt two")
    assert read_secret(variable) == "salt two"
    file = tmp_path / "secret"
    file.write_text("salt three\r\n", encoding="utf-8")
    assert read_secret(Secret(file=file)) == "salt three"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"\n", "is empty"),
        (b"\xff\xfe hush", "not UTF-8"),
        (b"hush" * LONGEST_SECRET, "over 4096"),
        (None, "can't be read: No such file"),
    ],
)
def test_a_missing_secret_is_said_without_quoting_it(
    content: bytes | None, words: str, tmp_path: Path
) -> None:
    """The operator reads which place to look at; nothing of the content is shown."""
    file = tmp_path / "secret"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(SecretMissing) as caught:
        read_secret(Secret(file=file))
    assert words in str(caught.value)
    assert str(file) in str(caught.value)
    assert "hush" not in str(caught.value)


def test_a_variable_that_is_not_set_is_named() -> None:
    """The operator reads which variable to set."""
    with pytest.raises(SecretMissing, match="BRINEWARD_NO_SUCH is not set"):
        read_secret(Secret(environment="BRINEWARD_NO_SUCH"))
