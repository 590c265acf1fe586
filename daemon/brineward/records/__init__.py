"""Records: what people read from a journal, typed. The same for commands, pages and reports.

It opens nothing: `Records(journal.handle)` queries an open journal, in short reads. Times are
instants, values SI. Every query may raise DiskTrouble and JournalDamaged; a row that can't be read
is passed over and counted in `Journal.unreadable`.
"""

from brineward.journal.active_alarms import ActiveAlarm
from brineward.journal.outbox import OutboxText
from brineward.records.buckets import Bucket
from brineward.records.by_hand import HandEntry
from brineward.records.episodes import Episode
from brineward.records.made import Batch, Load
from brineward.records.modes import ModeNow, ModeStretch
from brineward.records.records import Records
from brineward.records.refusals import Tally
from brineward.records.service import ServiceRow

__all__ = [
    "ActiveAlarm",
    "Batch",
    "Bucket",
    "Episode",
    "HandEntry",
    "Load",
    "ModeNow",
    "ModeStretch",
    "OutboxText",
    "Records",
    "ServiceRow",
    "Tally",
]
