"""The journal: SQLite, one file a service, one transaction a batch.

`Journal.open(path)` gives a handle; each thread or process opens its own. Only this package
opens SQLite.
"""

from brineward.journal.boxes import OutboxText
from brineward.journal.copying import TargetExists
from brineward.journal.history import ServiceRow, StandingAlarm, Tally
from brineward.journal.journal import Journal
from brineward.journal.ordering import Placed, Resumed
from brineward.journal.room import Checkpoint, DiskState
from brineward.journal.thinning import Bucket, Thinned
from brineward.journal.trouble import DiskTrouble, JournalUnusable

__all__ = [
    "Bucket",
    "Checkpoint",
    "DiskState",
    "DiskTrouble",
    "Journal",
    "JournalUnusable",
    "OutboxText",
    "Placed",
    "Resumed",
    "ServiceRow",
    "StandingAlarm",
    "Tally",
    "TargetExists",
    "Thinned",
]
