"""The dangers that nobody watches as a text: each with why, a list in as many texts as it takes."""

from collections.abc import Iterator, Mapping, Sequence

from brineward.plant.plan import DepotPlan
from brineward.watch.unwatched import Blind
from brineward.wording.gsm import SEGMENT_SEPTETS, septets, shortened, to_gsm

_NAME_SEPTETS = 24
"""How much of a depot's name is in each text of a list."""


def by_reason(found: Sequence[Blind]) -> Mapping[str, Sequence[str]]:
    """Each reason with the dangers that are unwatched for it, each once, in their order."""
    reasons: dict[str, dict[str, None]] = {}
    for one in found:
        reasons.setdefault(one.why, {})[one.danger] = None
    return {why: tuple(dangers) for why, dangers in reasons.items()}


def unwatched_text(plan: DepotPlan, found: Sequence[Blind] | None, place: int = 1) -> str:
    """All of them with their reasons, in one segment; what it has no room for is in the next place
    of the list, and it says how to ask for that."""
    name = shortened(to_gsm(plan.name), _NAME_SEPTETS)
    if found is None:
        return f"{name}: what is unwatched is not known just now. Ask again in some minutes."
    if not found:
        return f"{name}: all dangers are watched."
    head, rest = f"{name}, not watched:", f"Rest: reply {plan.short} UNWATCHED "
    room = SEGMENT_SEPTETS - septets(head) - septets(f"{rest}99.") - 3
    pieces = list(_pieces(by_reason(found), room))
    whole = f"{head} {'; '.join(pieces)}."
    if septets(whole) <= SEGMENT_SEPTETS:
        return whole
    texts: list[str] = []
    for piece in pieces:
        if texts and septets(f"{texts[-1]}; {piece}") <= room:
            texts[-1] += f"; {piece}"
        else:
            texts.append(piece)
    place = min(max(place, 1), len(texts))
    more = f" {rest}{place + 1}." if place < len(texts) else ""
    return f"{head} {texts[place - 1]}.{more}"


def _pieces(reasons: Mapping[str, Sequence[str]], room: int) -> Iterator[str]:
    """A piece for each reason with as many of its dangers as have room, and another where that
    is not all."""
    for why, dangers in reasons.items():
        named: list[str] = []
        for danger in dangers:
            if named and septets(_piece([*named, danger], why)) > room:
                yield _piece(named, why)
                named = []
            named.append(danger)
        yield shortened(_piece(named, why), room)


def _piece(dangers: Sequence[str], why: str) -> str:
    return to_gsm(f"{', '.join(dangers)} ({why})")
