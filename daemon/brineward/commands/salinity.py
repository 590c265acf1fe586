"""`brineward salinity`: strength from a reading, a reading from strength, what to add."""

import argparse
import json
import sys

from brineward.commands import salinity_json, salinity_lines
from brineward.commands.salinity_answer import Answered, Asked, Misasked, Unbelievable, answer
from brineward.commands.salinity_asked import DEFAULTED, FLAGS, asked_for, units_of
from brineward.commands.salinity_limits import OutOfRange, beyond, refuse_beyond, unbelievable
from brineward.commands.salinity_mixing import TooMuchSalt
from brineward.commands.salinity_question import (
    EXAMPLES,
    Question,
    UnreadQuestion,
    read_question,
)
from brineward.commands.salinity_units import Units, percent
from brineward.physics.brines import NotSodiumChloride
from brineward.quantities import UnreadableQuantity

GOOD, NO_BRINE, MISASKED = 0, 1, 2


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `salinity` to the command line."""
    parser = subparsers.add_parser(
        "salinity",
        help="strength from a reading, a reading from strength, or what to add",
        description="Answers in plain sentences, with the interval that the reading allows. Ask"
        " with flags, or in words between quotes: "
        + "; ".join(f'"{example}"' for example in EXAMPLES)
        + ".",
        epilog="Below zero, put a space before the unit or an equals sign before the number:"
        ' --temperature "-5 degC", --temperature=-5C.',
    )
    parser.add_argument("question", nargs="*", metavar="QUESTION", help="a question in plain words")
    for name, what, example in FLAGS:
        default = "unless said" if name in DEFAULTED else "such as"
        shown = f'{what}, {default} "{example}"'.replace("%", "%%")
        parser.add_argument(f"--{name}", metavar="TEXT", help=shown)
    parser.add_argument("--units", choices=("si", "us"), help="answer in these units")
    parser.add_argument("--json", action="store_true", help="one JSON object, for programs")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Answer; 0, or 1 where the reading is no brine, or 2 where the question can't be read."""
    try:
        question, texts = _read(arguments)
        asked = asked_for(texts, frozenset(question.texts))
        units = units_of(texts, arguments.units or question.side)
        found = _answer(asked, units)
    except NotSodiumChloride as refusal:
        return _refuse(arguments, str(refusal), NO_BRINE, reason="other-brine")
    except _NoBrine as refusal:
        return _refuse(arguments, str(refusal), NO_BRINE, reason=refusal.reason)
    except (UnreadQuestion, UnreadableQuantity, Misasked) as mistake:
        return _refuse(arguments, str(mistake), MISASKED, reason="misasked")
    _tell(arguments, asked, found, units, question)
    return GOOD


class _NoBrine(Exception):
    """No sodium chloride brine is like this; its sentence is in the asker's units."""

    def __init__(self, sentence: str, reason: str = "out-of-range") -> None:
        super().__init__(sentence)
        self.reason = reason


def _answer(asked: Asked, units: Units) -> Answered:
    try:
        refuse_beyond(asked, units)
        return answer(asked)
    except (Misasked, NotSodiumChloride):
        raise
    except Unbelievable as refusal:
        raise _NoBrine(unbelievable(refusal, asked, units), refusal.reason) from refusal
    except TooMuchSalt as refusal:
        most = percent(refusal.most)
        sentence = f"That is more salt than dissolves: no brine holds more than {most} there."
        raise _NoBrine(sentence) from refusal
    except OutOfRange as refusal:
        raise _NoBrine(str(refusal)) from refusal
    except ValueError as refusal:  # the physics: outside the range that is known, said in SI
        raise _NoBrine(beyond(units)) from refusal


def _tell(
    arguments: argparse.Namespace, asked: Asked, found: Answered, units: Units, question: Question
) -> None:
    if arguments.json:
        print(json.dumps(salinity_json.as_json(asked, found), allow_nan=False))
        return
    print("\n".join([*salinity_lines.lines(asked, found, units), *question.notes]))


def _refuse(arguments: argparse.Namespace, sentence: str, code: int, *, reason: str) -> int:
    if arguments.json:
        print(json.dumps({"error": sentence, "reason": reason}))
    else:
        print(sentence, file=sys.stderr)
    return code


def _read(arguments: argparse.Namespace) -> tuple[Question, dict[str, str]]:
    """The question, and what was written flag by flag; a question in words fills flags too."""
    words = " ".join(arguments.question)
    question = read_question(words) if words.strip() else Question(texts={})
    texts = dict(question.texts)
    for name, _, _ in FLAGS:
        written = getattr(arguments, name.replace("-", "_"))
        if written is not None and name in texts:
            raise Misasked(f"--{name} is in the question as well: {texts[name]!r}.")
        if written is not None:
            texts[name] = written
    return question, texts
