"""What became of an alarm, in words that need no glossary."""

from brineward.alarms.registry import CATALOGUE
from brineward.page.words import say
from brineward.readings.outputs import AlarmChanged, AlarmState


def became(state: AlarmState) -> str:
    """A state, such as `Active, nobody has it`."""
    return say(f"became.{state.value.replace(' ', '_')}")


def became_because(change: AlarmChanged) -> str:
    """The same with why, such as `Held back (same cause as salt low)`."""
    state, why = became(change.state), because(change)
    return say("became.because", state=state, why=why) if why else state


def because(change: AlarmChanged) -> str:
    """Why it became so: somebody's words, or the alarms that hold it back, by their names."""
    causes = change.why.split(", ") if change.state is AlarmState.SUPPRESSED else []
    if not causes or not all(one in CATALOGUE for one in causes):
        return change.why
    return say("became.cause", cause=", ".join(CATALOGUE[one].title.lower() for one in causes))
