"""What one reads: the first screen, live, alarms, texts, what is watched, trends."""

import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import aclosing
from typing import Final

from starlette.requests import Request
from starlette.responses import (
    JSONResponse,
    PlainTextResponse,
    Response,
    StreamingResponse,
)

from brineward.alarms.registry import CATALOGUE, coverage
from brineward.page.alarm_words import became_because
from brineward.page.assets import asset_answer
from brineward.page.banner import banner
from brineward.page.drawing import answer, drawn
from brineward.page.live import MOST_OPEN, Live, Picture
from brineward.page.lookout import NoLook
from brineward.page.screen import clock_time, screen
from brineward.page.trend import SPANS, asked, series_at, svg, trend
from brineward.page.visit import Visit, Visits, whole_number
from brineward.page.words import say
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import SECOND, Instant
from brineward.records import OutboxText
from brineward.records.unwatched_words import by_reason
from brineward.wording.segment import segment

_CHANGES_SHOWN: Final = 100
_TEXTS_SHOWN: Final = 60
_Key = tuple[str, bool, int | None]
"""Of which depots, who may act, and for which page: 0 or the alarm that a page is about."""
_CODE: Final = re.compile(r"\d{6}")


class Reading:
    """Pages without forms that act."""

    def __init__(self, visits: Visits) -> None:
        self._visits, self._lookout = visits, visits.lookout
        self._lives: dict[_Key, Live] = {}

    async def front(self, request: Request) -> Response:
        """The only depot, or a list of those that one may see."""
        session = self._visits.session(request)
        plans = self._visits.access.depots_of(session.person)
        if len(plans) == 1:
            return await self._first_screen(request, self._visits.of(session, plans[0].id))
        now = self._lookout.now()
        screens = await self._visits.ask(
            lambda records: [screen(plan, records, now) for plan in plans]
        )
        return answer(
            "depots",
            screens=screens,
            plan=None,
            banner=None,
            clock=clock_time(plans[0], now, now),
            time=now,
            token=self._visits.sessions.form_token(session.id),
            by_proxy=self._visits.caller(request).by_proxy,
            name=self._lookout.people.get(session.person, session.person),
        )

    async def worker(self, request: Request) -> Response:
        """The service worker, from the root, since it may keep nothing above its own path."""
        return asset_answer(request, "worker.js")

    async def unreached(self, request: Request) -> Response:
        """What the worker shows where somebody acts on an alarm without a line to the box."""
        self._visits.session(request)
        return answer("plain", sentence=say("site.unreached"))

    async def unanswered(self, request: Request) -> Response:
        """What the worker shows where a form was sent and no answer came."""
        self._visits.session(request)
        return answer("plain", sentence=say("site.unanswered"))

    async def away(self, request: Request) -> Response:
        """What the worker shows for any other page, where there is no line to the box."""
        self._visits.session(request)
        return answer("away")

    async def asset(self, request: Request) -> Response:
        """What a page is drawn with."""
        return asset_answer(request, request.path_params["name"])

    async def now(self, request: Request) -> Response:
        """The first screen."""
        return await self._first_screen(request, self._visits.at(request))

    async def _first_screen(self, request: Request, visit: Visit) -> Response:
        now = self._lookout.now()
        shown = await self._visits.ask(lambda records: screen(visit.plan, records, now))
        page = self._visits.page(
            request, visit, "now", screen=shown, may_act=visit.may_act, banner=None
        )
        page.headers["content-location"] = f"/d/{visit.plan.id}"
        return page

    async def live(self, request: Request) -> Response:
        """The same as events, for as long as it is looked at."""
        visit = self._visits.at(request)
        plan, may_act = visit.plan, visit.may_act
        return self._stream((plan.id, may_act, None), lambda: self._picture(plan, may_act))

    async def live_banner(self, request: Request) -> Response:
        """What every other page says at its top, as events."""
        visit = self._visits.at(request)
        plan, may_act = visit.plan, visit.may_act
        about = whole_number(request.query_params.get("about", ""))
        return self._stream(
            (plan.id, may_act, about), lambda: self._banner_picture(plan, may_act, about)
        )

    async def live_front(self, request: Request) -> Response:
        """The list of depots as events."""
        session = self._visits.session(request)
        plans = self._visits.access.depots_of(session.person)
        key = (" ".join(plan.id for plan in plans), False, None)
        return self._stream(key, lambda: self._list_picture(plans))

    def _stream(self, key: _Key, draw: Callable[[], Picture]) -> Response:
        if sum(one.open for one in self._lives.values()) >= MOST_OPEN:
            return PlainTextResponse(say("refused.busy"), 503, {"retry-after": "30"})
        return StreamingResponse(self._events(key, draw), media_type="text/event-stream")

    async def _events(self, key: _Key, draw: Callable[[], Picture]) -> AsyncIterator[str]:
        live = self._lives.setdefault(key, Live(draw))
        try:
            async with aclosing(live.events()) as events:
                async for event in events:
                    yield event
        finally:
            if not live.open:
                self._lives.pop(key, None)

    def _list_picture(self, plans: Sequence[DepotPlan]) -> Picture:
        now = self._lookout.now()
        screens = self._lookout.ask(lambda records: [screen(plan, records, now) for plan in plans])
        html = drawn("every_depot", screens=screens)
        return Picture(key=html, html=html, clock=screens[0].clock, time=now)

    def _picture(self, plan: DepotPlan, may_act: bool) -> Picture:
        now = self._lookout.now()
        shown = self._lookout.ask(lambda records: screen(plan, records, now))
        html = drawn("screen", plan=plan, screen=shown, may_act=may_act)
        return Picture(key=html, html=html, clock=shown.clock, time=now)

    def _banner_picture(self, plan: DepotPlan, may_act: bool, about: int) -> Picture:
        now = self._lookout.now()
        shown = self._lookout.ask(lambda records: screen(plan, records, now))
        html = drawn("banner", plan=plan, banner=banner(shown, about), may_act=may_act)
        return Picture(key=html, html=html, clock=shown.clock, time=now)

    async def alarms(self, request: Request) -> Response:
        """How the alarms went, the newest first."""
        visit, now = self._visits.at(request), self._lookout.now()
        plan = visit.plan
        changes = await self._visits.ask(
            lambda records: records.alarms.history(plan.id, limit=_CHANGES_SHOWN)
        )
        rows = [
            (
                one.number,
                clock_time(plan, one.time, now),
                plan.code(one.number) if one.number else "",
                one.sentence,
                became_because(one),
                plan.name_of(one.by) if one.by else "",
            )
            for one in reversed(changes)
        ]
        return await self._visits.answer(request, visit, "alarms", rows=rows)

    async def texts(self, request: Request) -> Response:
        """Texts as they were sent, the newest first."""
        visit, now = self._visits.at(request), self._lookout.now()
        found = await self._visits.ask(
            lambda records: records.texts.newest(visit.plan.id, limit=_TEXTS_SHOWN)
        )
        rows = [self._text(visit.plan, one, now) for one in found]
        return await self._visits.answer(request, visit, "texts", rows=rows)

    def _text(self, plan: DepotPlan, one: OutboxText, now: Instant) -> tuple[str, ...]:
        body = segment(one.notice)
        if one.kind == "answer" and _CODE.search(body):
            body = say("texts.code_hidden")
        return (
            clock_time(plan, one.created, now),
            self._lookout.people.get(one.person, one.person),
            body,
            say(f"texts.{one.state}", why=one.why),
        )

    async def watched(self, request: Request) -> Response:
        """What each danger is judged from, and which are blind."""
        visit = self._visits.at(request)
        plan = visit.plan
        order = {"blind": 0, "indirect": 1, "covered": 2}
        rows = [
            (
                say(f"watched.{one.how}"),
                CATALOGUE[one.alarm].title.capitalize(),
                plan.name_of(one.source),
                ", ".join(plan.name_of(sensor) for sensor in one.by),
                one.would_help,
            )
            for one in sorted(coverage(plan), key=lambda one: order[one.how])
        ]
        try:
            now = await self._visits.ask(
                lambda records: records.unwatched.now(plan.id, records.modes.now(plan.id).mode)
            )
        except NoLook:
            now = None  # the banner says that the journal can't be read
        unwatched = [(", ".join(d), why) for why, d in by_reason(now or ()).items()]
        return await self._visits.answer(request, visit, "watched", rows=rows, unwatched=unwatched)

    async def catalogue(self, request: Request) -> Response:
        """Every alarm: cause, consequence, what to do."""
        visit = self._visits.at(request)
        units = visit.plan.units
        entries = [
            (
                one.id,
                one.title.capitalize(),
                say(f"alarm.priority_{one.priority.value}"),
                units.in_units(one.cause),
                units.in_units(one.consequence),
                units.in_units(one.response),
                units.in_units(one.respond_within),
            )
            for one in CATALOGUE.values()
        ]
        return await self._visits.answer(request, visit, "catalogue", entries=entries)

    async def trends(self, request: Request) -> Response:
        """A series over a time, drawn here, with the same as a table."""
        visit, now = self._visits.at(request), self._lookout.now()
        names = await self._visits.ask(lambda records: series_at(visit.plan, records))
        wanted = asked(request.query_params, names, now)
        shown = None
        if wanted is not None:
            shown = await self._visits.ask(lambda records: trend(visit.plan, records, wanted))
        return await self._visits.answer(
            request,
            visit,
            "trends",
            names=names,
            spans=list(SPANS),
            wanted=wanted,
            trend=shown,
            picture="" if shown is None else svg(visit.plan, shown),
        )

    async def trend_data(self, request: Request) -> Response:
        """The same as numbers, for the picture that can be moved."""
        visit, now = self._visits.at(request), self._lookout.now()
        names = await self._visits.ask(lambda records: series_at(visit.plan, records))
        wanted = asked(request.query_params, names, now)
        if wanted is None:
            return JSONResponse({"points": [], "events": [], "spells": [], "start": 0, "end": 0})
        shown = await self._visits.ask(lambda records: trend(visit.plan, records, wanted))
        return JSONResponse(
            {
                "points": shown.points,
                "events": [one.at for one in shown.events],
                "spells": [(one.start, one.end) for one in shown.spells],
                "start": wanted.start // SECOND,
                "end": wanted.end // SECOND,
            }
        )
