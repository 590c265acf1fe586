"""What `[link]`, `[journal]`, `[replies]` and secrets refuse, apart from the type of each value."""

from pathlib import Path

from pydantic import ValidationInfo

from brineward.config.mistakes import shown
from brineward.config.sections import refused


def host_alone(host: str) -> str:
    """A name or an address without port, login or path. Raises: PydanticCustomError."""
    if any(character in host for character in "/@ ") or host.count(":") == 1:
        raise refused(f"{shown(host)} is not a host name alone")
    return host


def one_place(file: Path | None, info: ValidationInfo) -> Path | None:
    """A secret is in a variable or in a file. Raises: PydanticCustomError."""
    if "environment" in info.data and (file is None) == (info.data["environment"] is None):
        raise refused("a secret is found in one place", 'env = "NAME" or file = "PATH"')
    return file


def alone(file: Path | None, info: ValidationInfo) -> Path | None:
    """The password is in one place at most. Raises: PydanticCustomError."""
    if file is not None and info.data.get("password_env") is not None:
        raise refused("there is a password_env too", "one of password_env and password_file")
    return file


def both_or_neither(key: Path | None, info: ValidationInfo) -> Path | None:
    """A certificate has its key. Raises: PydanticCustomError."""
    if "certificate_file" in info.data and (key is None) != (info.data["certificate_file"] is None):
        raise refused("one of certificate_file and key_file is given", "both, or neither")
    return key


def two_bytes(seconds: int) -> int:
    """MQTT has two bytes for the keep-alive. Raises: PydanticCustomError."""
    if seconds > 65_535:
        raise refused(f"{seconds:g} s is longer than MQTT allows")
    return seconds


def a_day_or_more(seconds: float) -> float:
    """Readings are kept for a day at least. Raises: PydanticCustomError."""
    if seconds < 86_400:
        raise refused(f"{seconds:g} s is less than a day")
    return seconds


def from_the_root(path: str) -> str:
    """A path of a web address. Raises: PydanticCustomError."""
    if not path.startswith("/") or not path.isascii() or any(c in path for c in " ?#"):
        raise refused(f"{shown(path)} is not a path of a web address")
    return path
