"""The journal: SQLite, one file a service, one transaction a batch.

`Journal.open(path)` gives a handle; each thread or process opens its own. Only this package
opens SQLite.
"""

from brineward.journal.journal import Journal
from brineward.journal.trouble import DiskTrouble, JournalUnusable

__all__ = ["DiskTrouble", "Journal", "JournalUnusable"]
