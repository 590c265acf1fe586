"""What can still be done on a full disk: release the reserve, delete the oldest raw readings."""

import logging

from brineward.journal.journal import Journal
from brineward.journal.thinning import Thinned
from brineward.journal.trouble import DiskTrouble
from brineward.readings.instants import Instant, rfc3339_from_instant

_LOG = logging.getLogger(__name__)

WANTED_BYTES = 8_000_000
"""How much is made free inside the journal: hours of readings, by when somebody has made room."""


def make_room(journal: Journal) -> Thinned | None:
    """Give up the reserve and thin with the room that it leaves; None where there is no reserve.

    Once in each trouble only: without the reserve, thinning would delete and still not help.
    """
    if not journal.room.give_up_reserve():
        return None
    try:
        thinned = journal.thinning.thin_oldest(WANTED_BYTES)
        journal.room.checkpoint()
    except DiskTrouble as why:
        _LOG.error("the reserve was released, but still: %s", why)
        return Thinned(rows=0, freed_bytes=0, up_to=None, more=True)
    _LOG.warning("the disk is full: the reserve is released%s", thinned_up_to(thinned.up_to))
    return thinned


def thinned_up_to(up_to: Instant | None) -> str:
    """Up to when readings were deleted, to be added to a sentence; empty if none were."""
    if up_to is None:
        return ""
    return f"; readings before {rfc3339_from_instant(up_to)[:10]} are thinned"
