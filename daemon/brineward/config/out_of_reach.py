"""Secrets, certificates and folders that a config names and that can't be read from here."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

from brineward.config.channel_kinds import MailChannel
from brineward.config.secret_table import Secret
from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import Settings


def out_of_reach(settings: Settings) -> list[str]:
    """A sentence for each, with what does not work without it; channels of people on call and
    `[replies]` are in `texts.usable`. As the calling process finds them; no secret is quoted."""
    found = [
        f"{without}: {why}."
        for without, secret in _secrets(settings)
        for why in _missing_secret(secret)
    ]
    found += [
        f"{without}: {why}." for without, file in _files(settings) for why in _unreadable(file)
    ]
    folder = settings.journal.path.parent
    if not _is_there(folder, Path.is_dir):
        found.append(
            f"The service does not start: the journal's folder {folder} does not exist; make it, "
            "or name another."
        )
    return found


def _secrets(settings: Settings) -> Iterator[tuple[str, Secret | None]]:
    yield "The broker can't be logged in to", settings.link.password
    if settings.heartbeat is not None:
        yield "No heartbeat is sent", settings.heartbeat.url
    for name, export in settings.exports.items():
        yield f"Nothing is exported to {name}", export.token
    reports = settings.reports
    by = settings.channels.get(reports.mail_by) if reports is not None else None
    if isinstance(by, MailChannel):
        yield "No report is mailed", by.password


def _files(settings: Settings) -> Iterator[tuple[str, Path | None]]:
    tls, page = settings.link.tls, settings.page
    if tls is not None:
        for file in (tls.ca_file, tls.certificate_file, tls.key_file):
            yield "The broker can't be reached by TLS", file
    if page is not None:
        for file in (page.certificate_file, page.key_file):
            yield "The page is not served", file


def _missing_secret(secret: Secret | None) -> Iterator[str]:
    if secret is None:
        return
    try:
        read_secret(secret)
    except SecretMissing as missing:
        yield str(missing)


def _is_there(path: Path, kind: Callable[[Path], bool]) -> bool:
    """Taken to be there where this user may not look."""
    try:
        return kind(path)
    except PermissionError:
        return True


def _unreadable(file: Path | None) -> Iterator[str]:
    if file is None:
        return
    if not _is_there(file, Path.is_file):
        yield f"there is no file {file}"
    elif not os.access(file, os.R_OK):
        yield f"the file {file} can't be read from here"
