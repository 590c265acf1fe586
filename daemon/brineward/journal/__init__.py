"""The journal: SQLite, one file for each service, one transaction for each batch.

`Journal.open(path)` gives a handle; each thread or process opens its own. Only this package
opens SQLite. What people read from it is queried through `brineward.records`.
"""

from brineward.journal.active_alarms import ActiveAlarm
from brineward.journal.checking import Checked
from brineward.journal.copying import TargetExists
from brineward.journal.handle import Handle
from brineward.journal.journal import Journal
from brineward.journal.opening import is_there
from brineward.journal.ordering import Placed
from brineward.journal.outbox import OutboxText
from brineward.journal.replacing import restore
from brineward.journal.resuming import Resumed
from brineward.journal.room import Checkpoint, DiskState
from brineward.journal.salvaging import Salvaged, open_or_salvage
from brineward.journal.thinning import Thinned
from brineward.journal.trouble import (
    DiskTrouble,
    JournalDamaged,
    JournalReplaced,
    JournalUnusable,
)

__all__ = [
    "ActiveAlarm",
    "Checked",
    "Checkpoint",
    "DiskState",
    "DiskTrouble",
    "Handle",
    "Journal",
    "JournalDamaged",
    "JournalReplaced",
    "JournalUnusable",
    "OutboxText",
    "Placed",
    "Resumed",
    "Salvaged",
    "TargetExists",
    "Thinned",
    "is_there",
    "open_or_salvage",
    "restore",
]
