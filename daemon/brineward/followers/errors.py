"""How an unexpected error is reported without its own words, which may quote a secret."""

import traceback


def place_of(error: BaseException) -> str:
    """The kind of an error and where it was raised, without its words."""
    frames = traceback.extract_tb(error.__traceback__)
    where = f" at {frames[-1].filename}:{frames[-1].lineno}" if frames else ""
    return f"{type(error).__name__}{where}"
