"""Receipts: what a gateway says of a text after it has taken it."""

from collections.abc import Callable, Mapping

from brineward.clock import Clock
from brineward.config.channel_kinds import ReceiptSettings
from brineward.config.settings import ReplySettings
from brineward.texts.handed_in import REFUSED, HttpAnswer, genuine, refusal_of
from brineward.texts.reply_fields import field_at, fields_of

_LONGEST_ID = 200

OnReceipt = Callable[[str, bool, str], bool]
"""By which name, was it delivered, in whose words; is a text known by that name?"""


def receipt_name(channel: str, known_as: str) -> str:
    """What a text is known by among all channels; can be recorded, whatever a gateway called it."""
    # JSON may spell half a character, which UTF-8 does not have.
    encodable = known_as.encode(errors="backslashreplace").decode()
    one_line = " ".join(encodable.split())
    return f"{channel}:{one_line[:_LONGEST_ID]}"


class ReceiptDesk:
    """Takes receipts of one channel, with the secret that replies come with."""

    def __init__(
        self,
        channel: str,
        settings: ReceiptSettings,
        replies: ReplySettings,
        clock: Clock,
        *,
        on_receipt: OnReceipt,
        on_trouble: Callable[[str], None],
    ) -> None:
        self._channel = channel
        self._settings = settings
        self._replies = replies
        self._clock = clock
        self._on_receipt = on_receipt
        self._on_trouble = on_trouble

    def receive(self, headers: Mapping[str, str], body: bytes) -> HttpAnswer:
        """Judge one receipt; header names in small letters.

        One that comes twice changes nothing. A status that is neither delivered nor failed (on its
        way, say) is no receipt yet.
        """
        settings = self._settings
        try:
            genuine(self._replies, headers, body, self._clock.now())
            fields = fields_of(headers.get("content-type", ""), body)
            known_as = field_at(fields, settings.id_key)
            status = field_at(fields, settings.status_key).strip().lower()
        except REFUSED as why:
            return refusal_of(why, "no receipt can be taken", self._on_trouble)
        delivered = status in [word.lower() for word in settings.delivered]
        if not delivered and status not in [word.lower() for word in settings.failed]:
            return HttpAnswer(status=200, sentence="on its way")
        words = "delivered" if delivered else "the gateway says that it was not delivered"
        if self._on_receipt(receipt_name(self._channel, known_as), delivered, words):
            return HttpAnswer(status=200, sentence="noted")
        return HttpAnswer(status=200, sentence="no such text")
