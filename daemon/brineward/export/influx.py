"""Writing points to a server: `/api/v2/write`, or `/write` of a 1.x server.

Every write has its answer before it returns. The client's batching writer is not used: it fails
silently.
"""

import gzip
from collections.abc import Sequence
from typing import Any, Final, Protocol
from urllib.parse import urlsplit

import requests
from urllib3.exceptions import HTTPError

from brineward.clock import Clock
from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import ExportSettings
from brineward.export.answers import Lost, judge
from brineward.export.connections import Connections
from brineward.followers.cursor import NotNow
from brineward.readings.instants import SECOND

CONNECT_SECONDS: Final = 5.0
ANSWER_SECONDS: Final = 20.0
_LARGEST_ANSWER: Final = 65_536
_DEEPEST: Final = 6


class Sender(Protocol):
    """Writes points to one server."""

    def write(self, lines: Sequence[str]) -> bool:
        """Write them, and return once the server has taken them.

        True where it may be another process than the one that took the write before: then that may
        be lost. Raises: Refused, NotNow, Lost.
        """
        ...

    def close(self) -> None:
        """Let go of the connection."""
        ...


class MissingLibrary(Exception):
    """A library is not installed; the text says which extra brings it."""


def sender_of(export: ExportSettings, clock: Clock) -> Sender:
    """The sender for an export of the config; without its library one that only says so."""
    if export.api == 1:
        return Version1(export, clock)
    try:
        return Version2(export, clock)
    except MissingLibrary as why:
        return Unavailable(str(why))


class Unavailable:
    """Stands where a sender can't be made."""

    def __init__(self, why: str) -> None:
        self._why = why

    def write(self, lines: Sequence[str]) -> bool:
        """Say why not. Raises: NotNow."""
        raise NotNow(self._why)

    def close(self) -> None:
        """Nothing is held."""


class Version1:
    """A 1.x server, by its `/write`."""

    def __init__(self, export: ExportSettings, clock: Clock) -> None:
        self._export, self._clock = export, clock
        self._session = requests.Session()
        self._session.trust_env = False  # a stray .netrc must not send another login
        self._connections = Connections()
        for adapter in self._session.adapters.values():
            self._connections.watch(adapter.poolmanager)  # type: ignore[attr-defined]  # has none in its types

    def write(self, lines: Sequence[str]) -> bool:
        """Write them. Raises: Refused, NotNow, Lost."""
        secret = _secret(self._export)
        login = (self._export.username, secret) if self._export.username else None
        headers = {"Content-Type": "text/plain; charset=utf-8"}
        body = "\n".join(lines).encode()
        if _is_far(self._export.url):
            headers["Content-Encoding"] = "gzip"
            body = gzip.compress(body, 6)
        if secret and login is None:
            headers["Authorization"] = f"Token {secret}"
        try:
            with self._session.post(
                f"{self._export.url.rstrip('/')}/write",
                params={"db": self._export.bucket, "precision": "ms"},
                data=body,
                headers=headers,
                auth=login,
                timeout=(CONNECT_SECONDS, ANSWER_SECONDS),
                allow_redirects=False,
                stream=True,
            ) as answer:
                said = answer.raw.read(_LARGEST_ANSWER, decode_content=True)
        except (requests.RequestException, HTTPError, OSError) as why:
            raise _no_answer(why) from None
        judge(answer.status_code, answer.headers, said, self._clock.now() / SECOND)
        return self._connections.changed(answer.headers)

    def close(self) -> None:
        """Let go of the connection."""
        self._session.close()


class Version2:
    """A 2.x server, or another that takes its writes. Raises: MissingLibrary."""

    def __init__(self, export: ExportSettings, clock: Clock) -> None:
        try:
            from influxdb_client.client.influxdb_client import (  # noqa: PLC0415 - an extra
                InfluxDBClient,
            )
            from influxdb_client.rest import ApiException  # noqa: PLC0415 - as above
            from influxdb_client.service.write_service import WriteService  # noqa: PLC0415 - as above
        except ImportError as why:
            raise MissingLibrary(
                f"[export.{export.id}] needs brineward's extra 'export': "
                "pip install 'brineward[export]'"
            ) from why
        self._export, self._clock = export, clock
        self._client_of: Any = InfluxDBClient
        self._service_of: Any = WriteService
        self._api_error: type[Any] = ApiException
        self._client: Any = None
        self._connections = Connections()
        self._token: str | None = None

    def write(self, lines: Sequence[str]) -> bool:
        """Write them. Raises: Refused, NotNow, Lost."""
        service = self._service()
        try:
            _, status, headers = service.post_write_with_http_info(
                org=self._export.org,
                bucket=self._export.bucket,
                body="\n".join(lines).encode(),
                precision="ms",
                content_type="text/plain; charset=utf-8",
                _return_http_data_only=False,
            )
            body = b""
        except self._api_error as why:
            if why.status is None or why.headers is None:
                raise _no_answer(why) from None
            status, headers, body = why.status, why.headers, _bytes(why.body)
        except (HTTPError, OSError, ValueError) as why:
            raise _no_answer(why) from None
        judge(status, headers, body, self._clock.now() / SECOND)
        return self._connections.changed(headers)

    def close(self) -> None:
        """Let go of the connection."""
        if self._client is not None:
            self._client.close()
            self._client = None

    def _service(self) -> Any:
        token = _secret(self._export)
        if self._client is None or token != self._token:
            self.close()
            milliseconds = round(ANSWER_SECONDS * SECOND)
            self._client = self._client_of(
                self._export.url,
                token,
                org=self._export.org,
                timeout=milliseconds,
                enable_gzip=_is_far(self._export.url),
            )
            self._connections.watch(self._client.api_client.rest_client.pool_manager)
            self._token = token
        return self._service_of(self._client.api_client)


def _is_far(url: str) -> bool:
    """Over a network points are packed to a tenth; on the box itself that only costs time."""
    return urlsplit(url).hostname not in ("127.0.0.1", "localhost", "::1")


def _secret(export: ExportSettings) -> str:
    if export.token is None:
        return ""
    try:
        return read_secret(export.token)
    except SecretMissing as why:
        raise NotNow(str(why)) from None


def _bytes(body: object) -> bytes:
    return body if isinstance(body, bytes) else str(body or "").encode()


def _no_answer(why: BaseException) -> Lost:
    """Never the error's own words, which may quote the address with what is secret in it."""
    return Lost(f"the server did not answer ({type(why).__name__})", surely=_was_refused(why))


def _was_refused(why: BaseException | None) -> bool:
    """Does nobody listen there? Libraries wrap the system's error, one in another."""
    layer: list[object] = [why]
    for _ in range(_DEEPEST):
        errors = [one for one in layer if isinstance(one, BaseException)]
        if any(isinstance(one, ConnectionRefusedError) for one in errors):
            return True
        layer = [
            inner
            for one in errors
            for inner in (one.__cause__, getattr(one, "reason", None), *one.args)
        ]
    return False
