"""A notice as one text message: a segment of the GSM alphabet, 160 septets at most."""

from brineward.readings.outputs import Notice
from brineward.wording.gsm import SEGMENT_SEPTETS, shortened, to_gsm


def segment(notice: Notice) -> str:
    """The notice in one segment; what does not fit is cut off at the end."""
    pieces = [
        notice.code,
        notice.place,
        notice.lead,
        notice.headline,
        notice.how_bad,
        notice.time_left,
        notice.when,
        notice.response,
        notice.take,
    ]
    whole = notice.plain or " ".join(piece for piece in pieces if piece)
    return shortened(to_gsm(whole), SEGMENT_SEPTETS)
