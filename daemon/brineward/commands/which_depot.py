"""`--depot`: which depot of the config a command is about."""

from brineward.config.settings import Settings
from brineward.plant.plan import DepotPlan


class WhichDepot(ValueError):
    """No one depot is meant; the text says which there are."""


def the_depot(settings: Settings, name: str | None) -> DepotPlan:
    """The depot of this name, or the only one where no name is given. Raises: WhichDepot."""
    named = [plan for plan in settings.depots.values() if name in (None, plan.id)]
    if len(named) != 1:
        raise _none_meant(settings, name)
    return named[0]


def the_depots(settings: Settings, name: str | None) -> list[DepotPlan]:
    """The depot of this name, or each of the config where no name is given. Raises: WhichDepot."""
    named = [plan for plan in settings.depots.values() if name in (None, plan.id)]
    if not named:
        raise _none_meant(settings, name)
    return named


def _none_meant(settings: Settings, name: str | None) -> WhichDepot:
    known = f"--depot {' or '.join(settings.depots)}"
    if name is None:
        return WhichDepot(f"which depot? {known}")
    return WhichDepot(f"{name[:40]!r} is not a depot of this config; expected {known}")
