"""A command that is asked for is read without the others, and reads the same."""

import argparse

import pytest

from brineward.commands.main import COMMANDS, parser


def _subparsers(top: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    (found,) = (a for a in top._actions if isinstance(a, argparse._SubParsersAction))
    return dict(found.choices)


@pytest.mark.parametrize("asked", [*COMMANDS, "shelve", "nonsense", ""])
def test_its_help_is_the_same_as_among_all(asked: str) -> None:
    """Whatever is asked, its help is the whole command line's; what is none shows them all."""
    whole, alone = _subparsers(parser()), _subparsers(parser(asked))
    if asked in whole:
        assert alone[asked].format_help() == whole[asked].format_help()
    else:
        assert alone.keys() == whole.keys()
