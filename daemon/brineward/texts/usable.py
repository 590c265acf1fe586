"""Channels that can't be used because a secret of theirs is missing: seen at once, not at night."""

from collections.abc import Iterator

from brineward.config.channel_kinds import MailChannel, ModemChannel, PushChannel
from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import Channel, FileChannel, HttpChannel, ReplySettings, Settings
from brineward.texts.modem import MODEM_MISSING, modem_missing
from brineward.texts.push import PUSH_MISSING, push_missing
from brineward.texts.signatures import BadKey, signing_key


def unusable_channels(settings: Settings) -> list[str]:
    """A sentence for each channel of people on call that can't be used now, and for replies.

    Secrets are read as the calling process finds them and are never quoted. Empty where all is
    well.
    """
    on_call = {person for plan in settings.depots.values() for person in plan.duty.on_call}
    used = {
        name
        for person in settings.people.values()
        if person.id in on_call
        for name in person.channels
    }
    found: list[str] = []
    for id_, channel in settings.channels.items():
        if id_ in used:
            found += [f"No text goes out by channel {id_}: {why}." for why in _wrong_with(channel)]
    if settings.replies is not None:
        found += [
            f"Nobody can reply by text: {why}." for why in _wrong_with_replies(settings.replies)
        ]
    return found


def _wrong_with(channel: Channel) -> Iterator[str]:
    if isinstance(channel, HttpChannel):
        for secret in channel.secrets.values():
            try:
                read_secret(secret)
            except SecretMissing as why:
                yield str(why)
    elif isinstance(channel, MailChannel | ModemChannel | PushChannel):
        yield from _wrong_with_other(channel)
    elif isinstance(channel, FileChannel) and not channel.path.parent.is_dir():
        yield f"its folder {channel.path.parent} does not exist; make it"


def _wrong_with_other(channel: MailChannel | ModemChannel | PushChannel) -> Iterator[str]:
    match channel:
        case MailChannel():
            secret = channel.password
        case ModemChannel():
            secret = channel.pin
            if modem_missing():
                yield f"it {MODEM_MISSING}"
        case PushChannel():
            secret = channel.url
            if push_missing():
                yield f"it {PUSH_MISSING}"
    try:
        if secret is not None:
            read_secret(secret)
    except SecretMissing as why:
        yield str(why)


def _wrong_with_replies(settings: ReplySettings) -> Iterator[str]:
    try:
        secret = read_secret(settings.secret)
        if settings.kind == "signed":
            signing_key(secret)
    except (SecretMissing, BadKey) as why:
        yield str(why)
