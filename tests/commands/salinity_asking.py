"""Asking `brineward salinity` as a person does, for its tests."""

import pytest

from brineward.commands.main import main


def ask(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """Exit code, and what a person reads: the answer, or the refusal."""
    try:
        code = main(["salinity", *words])
    except SystemExit as ended:  # argparse: an option that there is not
        code = int(ended.code or 0)
    said = capsys.readouterr()
    assert not (said.out and said.err)
    return code, said.out or said.err
