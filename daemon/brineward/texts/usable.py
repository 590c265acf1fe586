"""Channels that can't be used because a secret of theirs is missing: seen at once, not at night."""

from collections.abc import Iterator, Mapping
from dataclasses import fields
from pathlib import Path

from brineward.config.channel_kinds import ModemChannel, PushChannel
from brineward.config.secret_table import Secret
from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import Channel, FileChannel, ReplySettings, Settings
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
    if isinstance(channel, ModemChannel) and modem_missing():
        yield f"it {MODEM_MISSING}"
    if isinstance(channel, PushChannel) and push_missing():
        yield f"it {PUSH_MISSING}"
    if isinstance(channel, FileChannel):
        yield from _wrong_with_folder(channel.path.parent)
    for secret in _secrets_of(channel):
        try:
            read_secret(secret)
        except SecretMissing as why:
            yield str(why)


def _wrong_with_folder(folder: Path) -> Iterator[str]:
    try:
        if not folder.is_dir():
            yield f"its folder {folder} does not exist; make it"
    except PermissionError:
        yield f"its folder {folder} may not be looked into by this user"


def _secrets_of(channel: Channel) -> Iterator[Secret]:
    """Whatever its keys hold that is a secret, so that no kind of channel can be forgotten here."""
    for key in fields(channel):
        held = getattr(channel, key.name)
        for one in held.values() if isinstance(held, Mapping) else (held,):
            if isinstance(one, Secret):
                yield one


def _wrong_with_replies(settings: ReplySettings) -> Iterator[str]:
    try:
        secret = read_secret(settings.secret)
        if settings.kind == "signed":
            signing_key(secret)
    except (SecretMissing, BadKey) as why:
        yield str(why)
