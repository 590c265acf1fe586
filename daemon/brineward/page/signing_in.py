"""Signing in by a code that is texted to a number on the list, and signing out."""

import asyncio
from collections.abc import Callable
from typing import Final

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from brineward.page.desk import Desk
from brineward.page.doorway import SESSION_COOKIE
from brineward.page.drawing import answer
from brineward.page.visit import Visits
from brineward.page.words import say

BROWSER_COOKIE: Final = "brineward-browser"
_BROWSER_SECONDS: Final = 3600
_LONGEST_NUMBER: Final = 40


class SigningIn:
    """Two steps: a number, then the code, from the same browser."""

    def __init__(self, visits: Visits, desk: Desk, note: Callable[[str, str], None]) -> None:
        self._visits, self._desk, self._note = visits, desk, note
        self._sessions = visits.sessions
        self._under_way: set[asyncio.Task[None]] = set()

    async def ask(self, request: Request) -> Response:
        """The form of the number; sent, a code is on its way, if it is somebody's of the list."""
        browser = self._browser(request)
        if request.method != "POST":
            return self._first(request, "")
        form = await self._visits.form(request)
        if browser is None or self._sessions.form_nonce(form.get("token", ""), browser) is None:
            return self._first(request, say("sign_in.cookie"), 400)
        # In a task of its own: the answer takes the same time whether the number is known or not.
        number = form.get("number", "")[:_LONGEST_NUMBER]
        address = self._visits.caller(request).address
        task = asyncio.create_task(self._text(browser, number, address))
        self._under_way.add(task)
        task.add_done_callback(self._under_way.discard)
        return RedirectResponse("/sign-in/code", 303)

    async def enter(self, request: Request) -> Response:
        """The form of the code; sent, its person is signed in."""
        browser = self._browser(request)
        if browser is None:
            return RedirectResponse("/sign-in", 303)
        if request.method != "POST":
            return self._second(browser, say("sign_in.sent"))
        form = await self._visits.form(request)
        if self._sessions.form_nonce(form.get("token", ""), browser) is None:
            return self._second(browser, say("act.stale"), 400)
        code = "".join(form.get("code", "")[:20].split())
        person = self._sessions.enter_code(browser, code)
        if person is None:
            await asyncio.to_thread(
                self._note, "page-code-wrong", self._visits.caller(request).address
            )
            return self._second(browser, say("sign_in.wrong"), 403)
        there = RedirectResponse("/", 303)
        there.set_cookie(
            SESSION_COOKIE,
            self._sessions.begin(person),
            max_age=self._sessions.lasts_seconds,
            httponly=True,
            samesite="strict",
            secure=self._visits.caller(request).secure,
        )
        there.delete_cookie(BROWSER_COOKIE, httponly=True, samesite="strict")
        return there

    async def leave(self, request: Request) -> Response:
        """Sign out, and forget what this browser has kept."""
        session = self._visits.session(request)
        form = await self._visits.form(request)
        if self._sessions.form_nonce(form.get("token", ""), session.id) is None:
            return answer("plain", 400, sentence=say("act.stale"))
        self._sessions.end(session)
        there = RedirectResponse("/sign-in", 303)
        there.delete_cookie(SESSION_COOKIE, httponly=True, samesite="strict")
        there.headers["clear-site-data"] = '"cache", "storage"'
        return there

    async def _text(self, browser: str, number: str, address: str) -> None:
        person = self._visits.access.person_with(number)
        if person is None:
            await asyncio.to_thread(self._note, "page-number-unknown", address)
            return
        code = self._sessions.draw_code(browser, person)
        if not code:
            await asyncio.to_thread(self._note, "page-too-many-codes", address)
            return
        await asyncio.to_thread(self._desk.text_code, person, say("sign_in.text", code=code))

    def _browser(self, request: Request) -> str | None:
        return self._sessions.browser(request.cookies.get(BROWSER_COOKIE, ""))

    def _first(self, request: Request, problem: str, status: int = 200) -> Response:
        cookie = request.cookies.get(BROWSER_COOKIE, "")
        browser = self._sessions.browser(cookie)
        if browser is None:
            cookie = self._sessions.new_browser()
            browser = self._sessions.browser(cookie) or ""
        token = self._sessions.form_token(browser)
        page = answer("sign_in", status, step="number", token=token, problem=problem, sentence="")
        page.set_cookie(
            BROWSER_COOKIE,
            cookie,
            max_age=_BROWSER_SECONDS,
            httponly=True,
            samesite="strict",
            secure=self._visits.caller(request).secure,
        )
        return page

    def _second(self, browser: str, sentence: str, status: int = 200) -> Response:
        token = self._sessions.form_token(browser)
        problem = sentence if status != 200 else ""
        told = sentence if status == 200 else ""
        return answer("sign_in", status, step="code", token=token, problem=problem, sentence=told)
