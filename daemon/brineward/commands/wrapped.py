"""Sentences in lines for a terminal."""

from textwrap import wrap

WIDTH = 98


def wrapped(sentence: str, first: str, rest: str) -> list[str]:
    """Lines of `WIDTH` at most, the first and the others each with its indent.

    Not broken at hyphens: an alarm's name stays whole, so that it can be searched for.
    """
    return wrap(
        sentence, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )
