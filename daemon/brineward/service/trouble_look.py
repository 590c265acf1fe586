"""Looks for one trouble of the service again and again, and says so when it has changed."""

import logging
from collections.abc import Callable

from brineward.clock import Clock
from brineward.readings.entries import ServiceTrouble, TroubleKind

_LOG = logging.getLogger(__name__)


class TroubleLook:
    """Checks for one trouble, by the id of its alarm.

    `find` says in a sentence what is wrong now, "" if nothing is; `well` is the sentence for that.
    `post` hands an entry to the service and may raise; then it is handed over at the next check.
    """

    def __init__(
        self,
        trouble: TroubleKind,
        find: Callable[[], str],
        *,
        well: str,
        clock: Clock,
        post: Callable[[ServiceTrouble], object],
    ) -> None:
        self._trouble, self._find, self._well = trouble, find, well
        self._clock, self._post = clock, post
        self._logged = ""
        self._posted: str | None = None

    def look(self) -> None:
        """Log at ERROR what is wrong now, and post what has changed.

        The first check always posts, since the last run may have left another state.
        Raises what `post` raises.
        """
        found = self._find()
        if found != self._logged:
            if found:
                _LOG.error("%s", found)
            else:
                _LOG.warning("%s", self._well)
            self._logged = found
        if found == self._posted:
            return
        self._post(
            ServiceTrouble(
                time=self._clock.now(),
                trouble=self._trouble,
                present=bool(found),
                sentence=found or self._well,
            )
        )
        self._posted = found
