"""A file that is there whole or not at all: exports and reports are written into one."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import IO


class NoFile(Exception):
    """The file can't be made; the text says why and what to do."""


@contextmanager
def whole_file(path: Path) -> Iterator[IO[bytes]]:
    """A file that takes the name once it is whole, and leaves nothing where it is not.

    Raises: NoFile where the disk refuses.
    """
    name = ""
    try:
        with NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
            name = file.name
            yield file
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0o077)
        os.umask(mask)
        Path(name).chmod(0o666 & ~mask)
        Path(name).replace(path)
        name = ""
    except OSError as why:
        raise NoFile(f"{path} can't be written: {why.strerror or why}") from why
    finally:
        if name:
            with suppress(OSError):
                Path(name).unlink()
