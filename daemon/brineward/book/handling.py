"""What people do with an alarm besides taking it: which alarm they mean, and what it comes to."""

from brineward.alarms.registry import ConfiguredAlarm
from brineward.book.life import Hold, Life, Turn
from brineward.book.shelving import longest_shelving
from brineward.readings.entries import Handling
from brineward.readings.instants import Instant


def handled(
    life: Life, configured: ConfiguredAlarm, handling: Handling, now: Instant
) -> Turn | None:
    """Do it to this alarm; None where there is nothing to do."""
    turn: Turn | None = None
    match handling.what:
        case "hand back" if life.taken_by in (handling.by, ""):
            turn = life.hand_back()
        case "reset":
            turn = life.reset()
        case "shelve" if life.out_of_service is None:
            most = longest_shelving(configured.record, configured.settings, life.priority)
            until = min(handling.until, now + most)
            if until > now:
                turn = life.shelve(_hold(life, handling, now, until))
        case "unshelve" if life.shelved is not None:
            turn = life.unshelve(now)
        case "out of service" if life.out_of_service is None:
            turn = life.remove(_hold(life, handling, now, None))
        case "back in service" if life.out_of_service is not None:
            turn = life.put_back(now)
        case _:
            pass
    return turn


def is_meant(life: Life, configured: ConfiguredAlarm, handling: Handling) -> bool:
    """Is it this alarm that a person names?"""
    if handling.number:
        return handling.number in _numbers(life)
    named = (configured.record.id, configured.condition.source)
    return named == (handling.alarm, handling.source)


def named_number(life: Life) -> int:
    """The occurrence that there is, or else the one that it was held back with; 0 for none."""
    return next(iter(_numbers(life)), 0)


def _numbers(life: Life) -> list[int]:
    holds = (life.out_of_service, life.shelved)
    numbers = [life.number, *(hold.number for hold in holds if hold is not None)]
    return [number for number in numbers if number]


def _hold(life: Life, handling: Handling, now: Instant, until: Instant | None) -> Hold:
    number = named_number(life)
    return Hold(by=handling.by, since=now, why=handling.why, number=number, until=until)
