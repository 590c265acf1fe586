"""A notice as one text-message segment: what the decision hangs on is always in it.

The time that it began is left out first where the words are many, then how bad it is.
"""

from brineward.readings.outputs import Notice
from brineward.wording.gsm import SEGMENT_SEPTETS, Part, fit_segment, shortened, to_gsm

_FIRST_WORDS = 16
"""How many letters of a long depot's name are enough to recognise it."""


def segment(notice: Notice) -> str:
    """The notice in the GSM alphabet, at most 160 septets.

    Source: 3GPP TS 23.038 clause 6.2.1 and 3GPP TS 23.040 (one segment).
    """
    if notice.plain:
        return shortened(to_gsm(notice.plain), SEGMENT_SEPTETS)
    first_words = shortened(to_gsm(notice.place), _FIRST_WORDS)
    by_name = notice.kind in ("taken", "held back")
    short_take = (notice.take.split(" to ")[0].split(", ")[0],) if notice.take else ()
    headline, when = notice.headline, notice.when
    if notice.kind == "cleared":
        headline, when = f"{headline.rstrip('?')}, {when}", ""
    return fit_segment(
        [
            Part(text=notice.lead, rank=0, name=by_name, whole=not by_name),
            Part(
                text=f"{notice.place}:",
                rank=1,
                shorter=(f"{first_words}:",),
                full_rank=4,
                name=True,
            ),
            Part(text=_sentence(headline), rank=1 if by_name else 0),
            Part(text=_sentence(_capital(notice.how_bad)), rank=1),
            Part(text=_sentence(_capital(notice.time_left)), rank=1),
            Part(text=_sentence(when), rank=3),
            Part(text=_sentence(notice.response), rank=0, whole=True),
            Part(text=notice.take, rank=0, shorter=short_take, full_rank=4, whole=True),
        ]
    )


def _capital(piece: str) -> str:
    return f"{piece[:1].upper()}{piece[1:]}"


def _sentence(piece: str) -> str:
    """A piece with its stop, where it has none of its own."""
    return piece if not piece or piece.endswith(("?", ".", "!")) else f"{piece}."
