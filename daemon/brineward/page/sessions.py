"""Who is signed in: signed cookies, forms that only their own browser can send, codes by text.

The key lies in a file beside the journal that only its owner can read, so that a restart signs
nobody out. A form's token is of one session and one run of the server: it is used once.
"""

import hmac
import os
import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from itsdangerous import BadSignature, URLSafeSerializer

from brineward.clock import Clock
from brineward.journal.opening import open_for_owner
from brineward.page.errors import NoKey
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant

CODE_DIGITS: Final = 6
CODE_LASTS: Final = 10 * MINUTE
TRIES: Final = 5
CODES_AN_HOUR: Final = 4
"""For one person: a stranger who knows the number must not wake its owner all night."""
FORM_LASTS: Final = 2 * HOUR
_MOST_PENDING: Final = 200
_MOST_OUT: Final = 10_000


def key_beside(journal: Path) -> bytes:
    """The key in a file beside the journal, drawn where there is none. Raises: NoKey."""
    path = journal.with_name(f"{journal.name}.page-key")
    try:
        try:
            handle = open_for_owner(path, os.O_WRONLY | os.O_EXCL)
        except FileExistsError:
            key = path.read_bytes()
        else:
            key = secrets.token_bytes(32)
            with os.fdopen(handle, "wb") as file:
                file.write(key)
                file.flush()
                os.fsync(file.fileno())
    except OSError as error:
        raise NoKey(f"{path}: {error.strerror or error}") from error
    if len(key) != 32:
        raise NoKey(f"{path} holds no key of 32 bytes; delete it, and everybody signs in again")
    return key


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Somebody who is signed in."""

    person: str
    id: str
    began: Instant


@dataclass(slots=True, kw_only=True)
class _Pending:
    person: str
    code: str
    until: Instant
    tries: int = 0


class Sessions:
    """Makes and reads them; for any thread."""

    def __init__(self, key: bytes, clock: Clock, lasts_seconds: float) -> None:
        self._clock = clock
        self.lasts_seconds = round(lasts_seconds)
        self._lasts = self.lasts_seconds * SECOND
        self._sessions = URLSafeSerializer(key, salt="session")
        self._browsers = URLSafeSerializer(key, salt="browser")
        self._forms = URLSafeSerializer(key, salt="form")
        self._run = secrets.token_hex(8)
        self._lock = threading.Lock()
        self._pending: OrderedDict[str, _Pending] = OrderedDict()
        self._asked: dict[str, list[Instant]] = {}
        self._out: OrderedDict[str, None] = OrderedDict()

    # -- sessions

    def begin(self, person: str) -> str:
        """The cookie of a new session."""
        began = self._clock.now()
        return str(self._sessions.dumps([person, secrets.token_hex(16), began]))

    def read(self, cookie: str) -> Session | None:
        """The session that a cookie is; None where it is forged, over, or signed out."""
        found = _read(self._sessions, cookie, str, str, int)
        if found is None:
            return None
        person, id_, began = found
        if not -MINUTE <= self._clock.now() - began < self._lasts or id_ in self._out:
            return None
        return Session(person=person, id=id_, began=began)

    def end(self, session: Session) -> None:
        """Sign out: its cookie counts no more while this server runs."""
        with self._lock:
            self._out[session.id] = None
            while len(self._out) > _MOST_OUT:
                self._out.popitem(last=False)

    # -- forms

    def form_token(self, owner: str) -> str:
        """What a form of `owner` carries: of who is signed in, or of a browser that is not yet."""
        nonce = secrets.token_hex(8)
        return str(self._forms.dumps([owner, self._run, nonce, self._clock.now()]))

    def form_nonce(self, token: str, owner: str) -> str | None:
        """What a form is known by; None where it is another's, of before a restart, or too old."""
        found = _read(self._forms, token, str, str, str, int)
        if found is None:
            return None
        whose, run, nonce, at = found
        same = hmac.compare_digest(whose.encode(), owner.encode()) and run == self._run
        return str(nonce) if same and 0 <= self._clock.now() - at < FORM_LASTS else None

    # -- codes by text

    def browser(self, cookie: str) -> str | None:
        """The browser that a cookie names; None where it is none of ours."""
        found = _read(self._browsers, cookie, str)
        return None if found is None else str(found[0])

    def new_browser(self) -> str:
        """The cookie of a browser that is not known yet."""
        return str(self._browsers.dumps([secrets.token_hex(16)]))

    def draw_code(self, browser: str, person: str) -> str:
        """A code that this browser alone may enter; empty where the person had enough of them."""
        now = self._clock.now()
        with self._lock:
            asked = [at for at in self._asked.get(person, []) if now - HOUR < at <= now]
            if len(asked) >= CODES_AN_HOUR:
                return ""
            self._asked[person] = [*asked, now]
            code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
            self._pending[browser] = _Pending(person=person, code=code, until=now + CODE_LASTS)
            self._pending.move_to_end(browser)
            while len(self._pending) > _MOST_PENDING:
                self._pending.popitem(last=False)
            return code

    def enter_code(self, browser: str, code: str) -> str | None:
        """Who this code signs in, once; None where it is wrong, late or tried too often."""
        with self._lock:
            pending = self._pending.get(browser)
            if pending is None:
                return None
            pending.tries += 1
            late = self._clock.now() >= pending.until
            right = hmac.compare_digest(pending.code.encode(), code.encode())
            if late or right or pending.tries >= TRIES:
                del self._pending[browser]
            return pending.person if right and not late else None


def _read(serializer: URLSafeSerializer, signed: str, *kinds: type) -> list[Any] | None:
    """The list that was signed, of these kinds; None where it was not signed by us."""
    try:
        found = serializer.loads(signed)
    except BadSignature:
        return None
    if not isinstance(found, list) or len(found) != len(kinds):
        return None
    fits = all(isinstance(one, kind) for one, kind in zip(found, kinds, strict=True))
    return found if fits else None
