"""Which config a command uses: the one that is named, or else the installed one."""

import argparse
from pathlib import Path

INSTALLED_CONFIG = Path("/etc/brineward/brineward.toml")
"""Where deploy/install.sh puts it."""

_HELP = f"the config file; default: {INSTALLED_CONFIG}"


def add_config(parser: argparse.ArgumentParser) -> None:
    """Add CONFIG, which may be left out, to a command."""
    parser.add_argument(
        "config", type=Path, metavar="CONFIG", nargs="?", default=INSTALLED_CONFIG, help=_HELP
    )


def add_config_option(parser: argparse.ArgumentParser) -> None:
    """Add --config to a command whose first word is something else."""
    parser.add_argument(
        "--config", type=Path, metavar="CONFIG", default=INSTALLED_CONFIG, help=_HELP
    )


def config_and_others(files: list[Path]) -> tuple[Path, list[Path]]:
    """Of CONFIG and further files in a row the config, which ends in .toml, and the others."""
    if files and files[0].suffix == ".toml":
        return files[0], files[1:]
    return INSTALLED_CONFIG, files
