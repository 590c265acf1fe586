"""Everything that can be queried, by subject."""

from brineward.journal.handle import Handle
from brineward.readings.instants import Instant
from brineward.records.acts import Acts
from brineward.records.alarms import Alarms
from brineward.records.bulk import Bulk
from brineward.records.by_hand import HandRecords
from brineward.records.courses import Stretch, course
from brineward.records.derived import DerivedValues
from brineward.records.episodes import Episodes
from brineward.records.made import Made
from brineward.records.modes import Modes
from brineward.records.on_call import CalendarsRead
from brineward.records.readings import Readings
from brineward.records.refusals import Refusals
from brineward.records.service import ServiceRow, service_row, set_aside
from brineward.records.texts import Texts
from brineward.records.unwatched import UnwatchedKept


class Records:
    """Asks one open journal, in its thread."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle
        self.readings = Readings(handle)
        self.derived = DerivedValues(handle)
        self.episodes = Episodes(handle)
        self.alarms = Alarms(handle)
        self.texts = Texts(handle)
        self.refusals = Refusals(handle)
        self.acts = Acts(handle)
        self.modes = Modes(handle)
        self.by_hand = HandRecords(handle)
        self.bulk = Bulk(handle)
        self.made = Made(handle)
        self.rota = CalendarsRead(handle)
        self.unwatched = UnwatchedKept(handle)

    def service(self) -> ServiceRow:
        """The state of the service, as it last recorded it."""
        return service_row(self._handle)

    def course(
        self,
        depot: str,
        name: str,
        start: Instant,
        end: Instant,
        *,
        width_seconds: float,
        derived: bool,
    ) -> list[Stretch]:
        """A sensor's readings or a derived value for a picture; see `courses.course`."""
        return course(
            self._handle,
            depot,
            name,
            start=start,
            end=end,
            width_seconds=width_seconds,
            derived=derived,
        )

    def set_aside(self) -> int:
        """How many rows could not be read and are kept out of everybody's way."""
        return set_aside(self._handle)
