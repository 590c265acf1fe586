"""What became of an alarm, in words that need no glossary."""

from brineward.alarms.registry import CATALOGUE
from brineward.page.words import say
from brineward.plant.plan import DepotPlan
from brineward.readings.outputs import AlarmChanged, AlarmState


def became(state: AlarmState) -> str:
    """A state, such as `Active, nobody has it`."""
    return say(f"became.{state.value.replace(' ', '_')}")


def by_whom(plan: DepotPlan, change: AlarmChanged) -> str:
    """Who did it, or which alarm holds it back; empty where it came by itself."""
    if change.by in CATALOGUE:
        return say("became.cause", cause=CATALOGUE[change.by].title)
    return plan.name_of(change.by) if change.by else ""
