"""What `[channels.X]` and `[people.X]` refuse, apart from the type of each value."""

import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from pydantic import ValidationInfo

from brineward.config.fields import phone_number
from brineward.config.mistakes import not_among, shown, written_name
from brineward.config.sections import known_of, refused

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_PLAIN_PLACEHOLDERS = ("address", "body", "id", "name")
_STORED_PREFIX = "secret:"
LONGEST_PATTERN = 200
_MAIL = re.compile(
    r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*", re.ASCII
)
_HEADER_NAME = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]{1,100}", re.ASCII)
_KEEPS_SECRETS = re.compile(r"auth|token|secret|passw|api-?_?key|cookie|credential", re.IGNORECASE)


def web_address(url: str) -> str:
    """An address over HTTP, without a login. Raises: PydanticCustomError."""
    try:
        parts = urlsplit(url)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        good = False
        parts = None
    if not good or parts is None or " " in url or not url.isascii():
        raise refused(f"{shown(url.partition('?')[0])} is not a web address")
    if "@" in parts.netloc:
        raise refused("the address has a login in it", "a secret of the channel in a header")
    if "{" in parts.netloc:
        raise refused("the address has a host that must be filled in", "one host for every text")
    return url


def good_places(url: str, info: ValidationInfo) -> str:
    """An address whose places can be filled in. Raises: PydanticCustomError."""
    _check_templates({"": url}, info)
    try:
        query = dict(parse_qsl(urlsplit(url).query, max_num_fields=100))
    except ValueError as error:
        raise refused("the address has more than 100 values behind its ?") from error
    _check_templates(query, info)
    return url


def carries_the_text(fields: Mapping[str, str], info: ValidationInfo) -> Mapping[str, str]:
    """Fields that can be filled in, one with the text. Raises: PydanticCustomError."""
    _check_templates(fields, info)
    if not any("{body}" in text for text in (*fields.values(), info.data.get("url", "{body}"))):
        raise refused("no field carries the text", 'a field with {body}, such as text = "{body}"')
    return fields


def good_headers(headers: Mapping[str, str], info: ValidationInfo) -> Mapping[str, str]:
    """Headers that can be sent and filled in. Raises: PydanticCustomError."""
    for name, text in headers.items():
        if _HEADER_NAME.fullmatch(name) is None:
            raise refused(f"{shown(name)} is not a header's name", "letters and hyphens")
        if not (text.isascii() and text.isprintable()):
            raise refused(f"{name} holds a character that no header can have", "plain ASCII")
    _check_templates(headers, info)
    return headers


def words_pattern(pattern: str) -> str:
    """A regular expression that can be searched for; short, and not one that matches everything."""
    try:
        found = re.compile(pattern)
    except re.error as wrong:
        raise refused(f"{shown(pattern)} is no regular expression: {wrong}") from wrong
    if pattern and (len(pattern) > LONGEST_PATTERN or found.search("")):
        raise refused(f"{shown(pattern)} is too long, or is found in every answer")
    return pattern


def some_channel(channels: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
    """One channel or several, each named once. Raises: PydanticCustomError."""
    one = info.data.get("channel")  # None where it was refused already
    if one == "" and not channels:
        raise refused("no channel is named")
    if one and channels:
        raise refused("is given together with channel, which says the same", "one of the two")
    if len(set(channels)) < len(channels):
        raise refused("a channel is named twice", "each once")
    return channels


def reachable(address: str, info: ValidationInfo) -> str:
    """What the person's channels can send to. Raises: PydanticCustomError."""
    one = info.data.get("channel")
    number, mail = info.data.get("number", "-"), info.data.get("mail", "-")
    for name in info.data.get("channels") or ((one,) if one else ()):
        channel = known_of(info).channels.get(name)
        kind = channel.get("kind") if isinstance(channel, dict) else None
        by_number = kind == "modem" or (kind == "http" and "{address}" in str(channel))
        if by_number and not (address or number):
            raise refused("is missing, and the channel sends to it")
        if kind == "modem" and not number:
            phone_number(address)
        if kind == "mail" and not (mail or address):
            raise refused("is missing, and a channel sends mail", "mail, or an address")
        if kind == "mail" and not mail:
            mail_address(address)
    # A gateway may name people otherwise, a mailbox say; what looks like a number is one.
    return phone_number(address) if re.match(r"[+(\d]", address) else address


def mail_address(address: str) -> str:
    """A mail address of plain ASCII; may be empty. Raises: PydanticCustomError."""
    if address and _MAIL.fullmatch(address) is None:
        raise refused(f"{shown(address)} is not a mail address", 'such as "yard@wexmoor.example"')
    return address


def guarded_mail(tls: str, info: ValidationInfo) -> str:
    """Unencrypted mail leaves no machine. Raises: PydanticCustomError."""
    here = info.data.get("host", "localhost") in ("localhost", "::1") or re.match(
        r"127\.\d+\.\d+\.\d+$", info.data.get("host", "")
    )
    if tls == "none" and not here:
        raise refused("mail would be readable on its way to another machine")
    return tls


def _check_templates(texts: Mapping[str, str], info: ValidationInfo) -> None:
    secrets: Mapping[str, Any] | None = info.data.get("secrets")
    for name, text in texts.items():
        placeholders = _PLACEHOLDER.findall(text)
        for placeholder in placeholders:
            _check_placeholder(placeholder, secrets)
        if _KEEPS_SECRETS.search(name) and not any(
            placeholder.startswith(_STORED_PREFIX) for placeholder in placeholders
        ):
            raise refused(
                f"{written_name(name)} seems to hold a secret in the clear",
                "{secret:NAME}, and NAME under [channels.<name>.secrets]",
            )


def _check_placeholder(placeholder: str, secrets: Mapping[str, Any] | None) -> None:
    if placeholder in _PLAIN_PLACEHOLDERS:
        return
    if not placeholder.startswith(_STORED_PREFIX):
        known = [*_PLAIN_PLACEHOLDERS, "secret:NAME"]
        raise refused(
            f"{shown('{' + placeholder + '}')} can't be filled in",
            not_among(placeholder, known, none=""),
        )
    name = placeholder.removeprefix(_STORED_PREFIX)
    if secrets is not None and name not in secrets:
        raise refused(
            f"{shown(name)} is not a secret of this channel",
            not_among(name, secrets, none="a secret of that name under [channels.<name>.secrets]"),
        )
