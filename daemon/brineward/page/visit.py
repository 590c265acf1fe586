"""A visit: who calls, which depot it is about, and the forms that it may send once."""

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeVar
from urllib.parse import parse_qsl

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from brineward.page.banner import Banner, banner
from brineward.page.desk import Done
from brineward.page.doorway import Caller
from brineward.page.drawing import answer
from brineward.page.lookout import Lookout, NoLook
from brineward.page.people import Access
from brineward.page.screen import clock_time, screen
from brineward.page.sessions import Session, Sessions
from brineward.page.words import say
from brineward.plant.plan import DepotPlan
from brineward.records import Records

_T = TypeVar("_T")

_MOST_DIGITS: Final = 9
_MOST_FIELDS: Final = 20
_MOST_KEPT: Final = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """Somebody who is signed in, at one depot."""

    plan: DepotPlan
    session: Session
    name: str
    may_act: bool


class Visits:
    """What every page needs."""

    def __init__(self, lookout: Lookout, access: Access, sessions: Sessions) -> None:
        self.lookout, self.access, self.sessions = lookout, access, sessions
        self._done: OrderedDict[str, asyncio.Task[Done]] = OrderedDict()
        self.handlers: Mapping[Any, Callable[[Request, Exception], Response]] = {
            HTTPException: self._refused,
            NoLook: self._no_look,
        }

    def caller(self, request: Request) -> Caller:
        """As the doorway has found."""
        caller: Caller = request.state.caller
        return caller

    def session(self, request: Request) -> Session:
        """Whose call it is; the doorway lets nobody else pass."""
        session = self.caller(request).session
        if session is None:
            raise HTTPException(401)
        return session

    def at(self, request: Request) -> Visit:
        """The visit to the depot in the path. Raises: HTTPException where it may not be seen."""
        return self.of(self.session(request), request.path_params["depot"])

    def of(self, session: Session, depot: str) -> Visit:
        """Somebody's visit to a depot. Raises: HTTPException where it may not be seen."""
        if not self.access.may_look(session.person, depot):
            raise HTTPException(404)
        return Visit(
            plan=self.lookout.plans[depot],
            session=session,
            name=self.lookout.people.get(session.person, session.person),
            may_act=self.access.may_act(session.person, depot),
        )

    def acting_at(self, request: Request) -> Visit:
        """The same of somebody who may act there. Raises: HTTPException."""
        visit = self.at(request)
        if not visit.may_act:
            raise HTTPException(403)
        return visit

    async def ask(self, question: Callable[[Records], _T]) -> _T:
        """Ask the records, in a thread. Raises: NoLook."""
        return await asyncio.to_thread(self.lookout.ask, question)

    async def answer(
        self,
        request: Request,
        visit: Visit,
        template: str,
        status: int = 200,
        *,
        about: int = 0,
        **values: object,
    ) -> HTMLResponse:
        """A page of a depot, with what waits there, but for the alarm that it is about."""
        plan, now = visit.plan, self.lookout.now()
        try:
            found = await self.ask(lambda records: banner(screen(plan, records, now), about))
        except NoLook:
            # What needs no journal is shown all the same.
            found = Banner(unwatched=say("site.trouble"), waiting=())
        values |= {"banner": found, "about": about}
        return self.page(request, visit, template, status, **values)

    def page(
        self, request: Request, visit: Visit, template: str, status: int = 200, **values: object
    ) -> HTMLResponse:
        """A page of a depot, with this `banner`; None where it shows all of that itself."""
        now = self.lookout.now()
        return answer(
            template,
            status,
            plan=visit.plan,
            visit=visit,
            clock=clock_time(visit.plan, now, now),
            time=now,
            token=self.sessions.form_token(visit.session.id),
            said=self._said(request, visit.session),
            by_proxy=self.caller(request).by_proxy,
            several=len(self.access.depots_of(visit.session.person)) > 1,
            **values,
        )

    async def form(self, request: Request) -> dict[str, str]:
        """The fields of a form; the last of each name. Raises: HTTPException."""
        kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
        if kind != "application/x-www-form-urlencoded":
            raise HTTPException(415)
        try:
            body = (await request.body()).decode("utf-8")
            return dict(parse_qsl(body, keep_blank_values=True, max_num_fields=_MOST_FIELDS))
        except ValueError:
            raise HTTPException(400) from None

    async def once(
        self, form: Mapping[str, str], session: Session, act: Callable[[], Done]
    ) -> str | None:
        """Do what a form asks, once however often it is sent; what the result is found by.

        None where the form is another sign-in's, of before a restart of the server, or too old.
        """
        nonce = self.sessions.form_nonce(form.get("token", ""), session.id)
        if nonce is None:
            return None
        key = f"{session.id} {nonce}"
        task = self._done.get(key)
        if task is None:
            task = self._done[key] = asyncio.get_running_loop().create_task(asyncio.to_thread(act))
            while len(self._done) > _MOST_KEPT:
                self._done.popitem(last=False)
        await asyncio.shield(task)
        return nonce

    async def did(
        self,
        request: Request,
        visit: Visit,
        form: Mapping[str, str],
        act: Callable[[], Done],
        back: str = "",
    ) -> Response:
        """Do what a form asks, once, and go where what came of it is said."""
        nonce = await self.once(form, visit.session, act)
        if nonce is None:
            return await self.answer(request, visit, "stale", status=409)
        return RedirectResponse(f"/d/{visit.plan.id}{back}?said={nonce}", 303)

    def _said(self, request: Request, session: Session) -> Done | None:
        """What came of the form that this page was reached by."""
        nonce = request.query_params.get("said", "")
        task = self._done.get(f"{session.id} {nonce}")
        return task.result() if task is not None and task.done() else None

    def _refused(self, request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 400
        name = "site.not_found" if status == 404 else "refused.form"
        if status == 401:
            name = "refused.signed_out"
        elif status == 405:
            name = "refused.method"
        return answer("plain", status, sentence=say(name))

    def _no_look(self, request: Request, error: Exception) -> Response:
        return answer("plain", 503, sentence=say("site.trouble"))


def whole_number(text: str) -> int:
    """A number as an address or a form names one; 0 where none is meant."""
    plain = text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS
    return int(text) if plain else 0
