"""Several alarms in one text: what they are, and where to read what to do."""

from collections.abc import Sequence
from typing import Final

from brineward.plant.plan import DepotPlan
from brineward.telling.handover_words import codes_named
from brineward.wording.gsm import Part, fit_segment

_NAMED: Final = 8
"""How many alarms are named, if only by their codes; the others are counted."""


def several_text(
    plan: DepotPlan,
    *,
    calling: Sequence[tuple[str, str]] = (),
    in_hand: Sequence[str] = (),
    gone: Sequence[str] = (),
    to_reset: Sequence[str] = (),
) -> str:
    """One segment; the first of `calling`, which nobody has, is the last to lose its words.

    `calling` are codes with what is wrong; `in_hand` codes of what somebody has or has shelved,
    `gone` of what has cleared, `to_reset` of what the person has and is to reset.
    """
    count = len(calling)
    head = f"nobody has these {count}:" if count > 1 else "nobody has this:" if count else ""
    more = count - _NAMED
    named = [
        Part(text=f"{code} {what}{end}", shorter=(f"{code}{end}",), full_rank=1, whole=True)
        for (code, what), end in zip(calling[:_NAMED], _ends(count), strict=True)
    ]
    ask = ""
    short: tuple[str, ...] = ()
    if calling and plan.duty.replies:
        code = calling[0][0]
        ask, short = f"Reply {code} MORE for what to do.", (f"Reply {code} MORE.",)
    elif calling:
        ask, short = "What to do: brineward status.", ("See brineward status.",)
    return fit_segment(
        [
            Part(text=f"{plan.name}:", name=True),
            Part(text=head, whole=True),
            *named,
            Part(text=f"and {more} more." if more > 0 else "", whole=True),
            Part(text=f"{codes_named(to_reset)} yours to reset." if to_reset else "", whole=True),
            Part(text=f"{codes_named(gone)} cleared." if gone else "", whole=True),
            Part(text=f"{codes_named(in_hand)} in hand." if in_hand else "", whole=True),
            Part(text=ask, shorter=short, full_rank=2, whole=True),
        ]
    )


def _ends(count: int) -> list[str]:
    """What follows each alarm that is named."""
    ends = [","] * min(count, _NAMED)
    if ends and count <= _NAMED:
        ends[-1] = "."
    return ends
