"""Secrets, read from the environment or a file at the moment of use and never kept."""

import os
from pathlib import Path

from brineward.config.secret_table import Secret

LONGEST_SECRET = 4096


class SecretMissing(Exception):
    """The operator must put the secret where the config says it is; the secret is not quoted."""


def read_secret(secret: Secret) -> str:
    """The secret itself, without the line end of its file.

    Raises: SecretMissing where it is not there, is empty, too long or can't be read.
    """
    file = secret.file
    found = _from_environment(secret) if file is None else _from_file(secret, file)
    if not found:
        raise SecretMissing(f"{place_of(secret)} is empty; put the secret there")
    if len(found) > LONGEST_SECRET:
        raise SecretMissing(f"{place_of(secret)} is over {LONGEST_SECRET} characters long")
    return found


def place_of(secret: Secret) -> str:
    """Where the secret is looked for, in words."""
    if secret.file is not None:
        return f"the secret's file {secret.file}"
    return f"the environment variable {secret.environment}"


def _from_environment(secret: Secret) -> str:
    found = os.environ.get(secret.environment or "")
    if found is None:
        raise SecretMissing(f"{place_of(secret)} is not set; set it where the service starts")
    return found


def _from_file(secret: Secret, file: Path) -> str:
    try:
        with file.open(encoding="utf-8") as lines:
            return lines.read(LONGEST_SECRET + 2).rstrip("\r\n")
    except OSError as error:
        raise SecretMissing(f"{place_of(secret)} can't be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise SecretMissing(f"{place_of(secret)} is not UTF-8 text") from None
