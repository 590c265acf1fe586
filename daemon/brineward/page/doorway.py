"""What every call passes first: its size, its pace, where it comes from, who is signed in."""

import logging
from collections import OrderedDict
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from brineward.clock import Clock
from brineward.config.settings import PageSettings
from brineward.page.assets import OPEN_FOLDER
from brineward.page.desk import Desk
from brineward.page.sessions import Session, Sessions
from brineward.page.words import say

_LOG = logging.getLogger(__name__)

LARGEST_BODY: Final = 16_384
CALLS_A_SECOND: Final = 20.0
CALLS_AT_ONCE: Final = 120.0
_MOST_CALLERS: Final = 5_000
REFUSALS_NOTED_AN_HOUR: Final = 60
"""More refused tries than this are only logged: a stranger must not fill the journal."""

SESSION_COOKIE: Final = "brineward"
OPEN_PATHS: Final = frozenset({"/sign-in", "/sign-in/code"})
_OWN_NAMES: Final = frozenset({"127.0.0.1", "localhost", "[::1]"})

HEADERS: Final = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


@dataclass(slots=True, kw_only=True)
class Caller:
    """Who calls, as far as it is known."""

    address: str
    secure: bool
    session: Session | None
    by_proxy: bool = False
    """A trusted proxy says who it is."""


@dataclass(slots=True)
class _Pace:
    left: float
    at: float


@dataclass(slots=True)
class _Noted:
    since: float = 0.0
    count: int = 0


@dataclass(kw_only=True)
class Doorway:
    """An ASGI application around another."""

    app: ASGIApp
    settings: PageSettings
    sessions: Sessions
    people: frozenset[str]
    """Who may be signed in."""
    desk: Desk
    clock: Clock
    anyone: bool = False
    """Whoever calls this machine by its own name is let in, to look: for a copy of a journal."""
    _paces: OrderedDict[str, _Pace] = field(default_factory=OrderedDict)
    _noted: _Noted = field(default_factory=_Noted)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a call pass, or answer it here."""
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)
        caller = self._caller(scope, headers)
        scope.setdefault("state", {})["caller"] = caller
        answer = self._refusal(scope, headers, caller)

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                added = MutableHeaders(raw=message["headers"])
                for name, value in HEADERS.items():
                    # A page that is stricter still, as a report is, says so itself.
                    added.setdefault(name, value)
                added.setdefault("cache-control", "no-store")
                if caller.secure:
                    added["strict-transport-security"] = "max-age=31536000"
            await send(message)

        await (answer or self.app)(scope, receive, sending)

    def note(self, what: str, address: str) -> None:
        """Count a refused try where people look: the log, and the status."""
        sentence = say("refused.noted", what=what, address=address)
        _LOG.warning("%s", sentence)
        now = self.clock.monotonic_seconds()
        if now - self._noted.since > 3600:
            self._noted.since, self._noted.count = now, 0
        self._noted.count += 1
        if self._noted.count <= REFUSALS_NOTED_AN_HOUR:
            self.desk.note_refused(what, sentence)

    def _caller(self, scope: Scope, headers: Headers) -> Caller:
        peer = scope["client"][0] if scope.get("client") else ""
        secure = scope["scheme"] == "https"
        address, person = peer, None
        if self.settings.proxy is not None and peer == self.settings.proxy:
            address = headers.get("x-forwarded-for", peer).rsplit(",", 1)[-1].strip()[:60] or peer
            secure = secure or headers.get("x-forwarded-proto", "") == "https"
            if self.settings.proxy_header is not None:
                person = headers.get(self.settings.proxy_header, "")
        if self.anyone:
            # By another name it may be a foreign page whose name leads here: no way in for that.
            here = _host_of(f"//{headers.get('host', '')}").rsplit(":", 1)[0] in _OWN_NAMES
            session = Session(person="", id="anyone", began=0) if here else None
            return Caller(address=address, secure=secure, session=session, by_proxy=True)
        if person is not None:
            known = person in self.people
            session = Session(person=person, id=f"proxy {person}", began=0) if known else None
            return Caller(address=address, secure=secure, session=session, by_proxy=True)
        session = self.sessions.read(_cookies(headers).get(SESSION_COOKIE, ""))
        if session is not None and session.person not in self.people:
            session = None
        return Caller(address=address, secure=secure, session=session)

    def _refusal(self, scope: Scope, headers: Headers, caller: Caller) -> Response | None:
        if not self._paced(caller.address):
            return _plain(429, "refused.pace", {"retry-after": "5"})
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _plain(405, "refused.method")
        if scope["method"] == "POST":
            refused = _body_refused(headers) or self._foreign(headers, caller)
            if refused is not None:
                return refused
        path: str = scope["path"]
        is_open = path in OPEN_PATHS or path.startswith(OPEN_FOLDER)
        return None if caller.session or is_open else self._unknown(scope, headers, caller)

    def _unknown(self, scope: Scope, headers: Headers, caller: Caller) -> Response:
        if caller.by_proxy:
            self.note("page-person-unknown", caller.address)
            return _plain(403, "refused.person")
        if "text/html" in headers.get("accept", "") and scope["method"] == "GET":
            return RedirectResponse("/sign-in", 303)
        return _plain(401, "refused.signed_out")

    def _foreign(self, headers: Headers, caller: Caller) -> Response | None:
        """A form that another site made this browser send."""
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "same-origin")
        host = headers.get("host", "")
        if site in ("same-origin", "none") and (origin is None or _host_of(origin) == host):
            return None
        self.note("page-cross-site", caller.address)
        return _plain(403, "refused.cross_site")

    def _paced(self, address: str) -> bool:
        now = self.clock.monotonic_seconds()
        pace = self._paces.setdefault(address, _Pace(CALLS_AT_ONCE, now))
        self._paces.move_to_end(address)
        while len(self._paces) > _MOST_CALLERS:
            self._paces.popitem(last=False)
        pace.left = min(CALLS_AT_ONCE, pace.left + (now - pace.at) * CALLS_A_SECOND)
        pace.at = now
        if pace.left < 1.0:
            return False
        pace.left -= 1.0
        return True


def _host_of(origin: str) -> str:
    try:
        return urlsplit(origin).netloc
    except ValueError:
        return ""


def _cookies(headers: Headers) -> dict[str, str]:
    try:
        found = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return {}
    return {name: morsel.value for name, morsel in found.items()}


def _body_refused(headers: Headers) -> Response | None:
    size = headers.get("content-length", "")
    if not (size.isascii() and size.isdigit()) or "transfer-encoding" in headers:
        return _plain(411, "refused.length", {"connection": "close"})
    if len(size) > 9 or int(size) > LARGEST_BODY:
        return _plain(413, "refused.size", {"connection": "close"})
    return None


def _plain(status: int, name: str, headers: dict[str, str] | None = None) -> Response:
    return PlainTextResponse(say(name) + "\n", status, headers)
