"""Why the page can't be served."""


class CannotServe(Exception):
    """The operator must free the address, mend the certificate, or change the config."""


class NoKey(Exception):
    """The file of the key can't be read or written; the text says why."""
