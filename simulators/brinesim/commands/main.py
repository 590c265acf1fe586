"""`brinesim`, as it is started: says what is missing where the simulator's libraries are."""

import sys
from collections.abc import Sequence


def main(words: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    try:
        # A plain brineward is installed without what the simulator computes with.
        from brinesim.commands import line  # noqa: PLC0415 - missing libraries are told below

        return line.run(words)
    except ModuleNotFoundError as missing:
        if (missing.name or "").startswith("brinesim"):
            raise
        print(
            f"brinesim needs {missing.name}, which is not installed here. In the folder of"
            f" brineward's source, run {sys.executable} -m pip install '.[laptop]'",
            file=sys.stderr,
        )
        return 2


if __name__ == "__main__":
    sys.exit(main())
