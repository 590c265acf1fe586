"""`python -m brineward` is the same as `brineward`."""

import sys

from brineward.commands.main import main

if __name__ == "__main__":
    sys.exit(main())
