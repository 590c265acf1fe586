"""Why the page can't be served."""


class NoKey(Exception):
    """The file of the key can't be read or written; the text says why."""
