"""What one does: take an alarm and the like, enter a test, set the mode; each asked once more."""

from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from brineward.page.banner import LARGEST_NUMBER
from brineward.page.desk import Desk, Done
from brineward.page.screen import AlarmView, clock_time, screen
from brineward.page.test_form import KINDS, Typed, shows, strength_of, typed
from brineward.page.visit import Visit, Visits
from brineward.page.words import say
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import HandlingKind, HandTest, StruckTest
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.records import Records
from brineward.records.depot_now import DepotNow, depot_now
from brineward.telling.mode_words import quiet_at
from brineward.wording.operator_units import percent

_HANDLINGS: Final[dict[str, HandlingKind]] = {
    "back": "hand back",
    "shelve": "shelve",
    "unshelve": "unshelve",
    "reset": "reset",
}
_HOURS: Final = ("1", "4", "24")
_TESTS_SHOWN: Final = 50


class Acting:
    """Pages with forms."""

    def __init__(self, visits: Visits, desk: Desk) -> None:
        self._visits, self._lookout, self._desk = visits, visits.lookout, desk

    async def alarm(self, request: Request) -> Response:
        """Take, back, shelve, unshelve, reset: asks once more, then does it."""
        visit = self._visits.acting_at(request)
        number, act = request.path_params["number"], request.path_params["act"]
        if (act != "take" and act not in _HANDLINGS) or not 0 < number < LARGEST_NUMBER:
            raise HTTPException(404)
        if request.method != "POST":
            return await self._ask_alarm(request, visit, number, act)
        form = await self._visits.form(request)
        depot, person = visit.plan.id, visit.session.person
        seconds = 3600.0 * float(form["hours"]) if form.get("hours") in _HOURS else 0.0

        def done() -> Done:
            if act == "take":
                return self._desk.take(depot, number, person)
            return self._desk.handle(depot, _HANDLINGS[act], number, person, seconds)

        return await self._visits.did(request, visit, form, done)

    async def _ask_alarm(self, request: Request, visit: Visit, number: int, act: str) -> Response:
        view = await self._visits.ask(lambda records: self._view(records, visit, number))
        return await self._visits.answer(
            request,
            visit,
            "alarm",
            about=number if view is not None and act in view.acts else 0,
            code=visit.plan.code(number),
            number=number,
            act=act,
            view=view,
            hours=_HOURS,
        )

    def _view(self, records: Records, visit: Visit, number: int) -> AlarmView | None:
        shown = screen(visit.plan, records, self._lookout.now())
        every = [*shown.alarms, *shown.held]
        return next((one for one in every if one.number == number), None)

    async def tests(self, request: Request) -> Response:
        """The form of a test, and the tests so far."""
        visit, now = self._visits.at(request), self._lookout.now()
        return await self._tests_page(request, visit, now, {}, None)

    async def test(self, request: Request) -> Response:
        """A test was typed: show what it comes to; confirmed, enter it."""
        visit, now = self._visits.acting_at(request), self._lookout.now()
        form = await self._visits.form(request)
        depot = await self._visits.ask(lambda records: depot_now(visit.plan, records, now))
        found = typed(form, depot, self._desk)
        if form.get("sure") != "yes" or not found.fields:
            return await self._tests_page(request, visit, now, form, found)

        def done() -> Done:
            return self._desk.enter_test(visit.plan.id, found.fields, visit.session.person)

        return await self._visits.did(request, visit, form, done, "/tests")

    async def computed(self, request: Request) -> Response:
        """What a test comes to while it is typed."""
        visit, now = self._visits.at(request), self._lookout.now()
        depot = await self._visits.ask(lambda records: depot_now(visit.plan, records, now))
        found = typed(dict(request.query_params), depot, self._desk)
        computed = "" if found.computed is None else shows(found.computed)
        return JSONResponse(
            {"shows": computed, "problems": found.problems, "warnings": found.warnings}
        )

    async def _tests_page(
        self,
        request: Request,
        visit: Visit,
        now: Instant,
        form: dict[str, str],
        found: Typed | None,
    ) -> Response:
        plan = visit.plan
        depot, tests = await self._visits.ask(
            lambda records: (
                depot_now(plan, records, now),
                records.acts.tests(plan.id),
            )
        )
        rows = [
            (
                clock_time(plan, one.at, now),
                plan.name_of(one.vessel),
                f"{percent(one.mass_fraction)} %",
                _entered(plan, one, struck),
                plan.name_of(one.by) if one.by else "",
            )
            for one, struck in reversed(tests[-_TESTS_SHOWN:])
        ]
        computed = None if found is None else found.computed
        return await self._visits.answer(
            request,
            visit,
            "tests",
            status=422 if found is not None and found.problems else 200,
            tanks=[(v.id, plan.name_of(v.id)) for v in plan.vessels.values() if v.holds_brine],
            kinds=KINDS,
            form=form,
            found=found,
            shows="" if computed is None else shows(computed),
            percent="" if computed is None else percent(computed.mass_fraction or 0.0),
            probe=_probe(depot, form.get("vessel", "")),
            us=plan.us_units,
            rows=rows,
        )

    async def mode(self, request: Request) -> Response:
        """What the depot is used for, and setting it: chosen, shown, confirmed."""
        if request.method != "POST":
            visit = self._visits.at(request)
            now_mode = await self._visits.ask(lambda records: records.modes.now(visit.plan.id))
            chosen = request.query_params.get("mode", "")
            mode = Mode(chosen) if chosen in set(Mode) else None
            quiet = [] if mode is None else [r.title.lower() for r in quiet_at(visit.plan, mode)]
            changes = say("mode.changes", quiet=", ".join(quiet)) if quiet else ""
            return await self._visits.answer(
                request,
                visit,
                "mode",
                modes=[one.value for one in Mode],
                now_mode=now_mode.mode.value,
                mode="" if mode is None else mode.value,
                changes=changes or say("mode.changes_nothing"),
            )
        visit = self._visits.acting_at(request)
        form = await self._visits.form(request)
        wanted = form.get("mode", "")
        if wanted not in set(Mode):
            raise HTTPException(400)

        def done() -> Done:
            return self._desk.set_mode(visit.plan.id, Mode(wanted), visit.session.person)

        return await self._visits.did(request, visit, form, done)


def _entered(plan: DepotPlan, test: HandTest, struck: StruckTest | None) -> str:
    """What was entered, and whether it was struck."""
    parts = [test.entered]
    if test.cleaned:
        parts.append(say("test.cleaned_short"))
    if struck is not None:
        name = plan.name_of(struck.by)
        parts.append(say("test.struck_by", name=name) if name else say("test.struck_short"))
    return ", ".join(parts)


def _probe(depot: DepotNow, vessel: str) -> str:
    """What the probe says of the vessel that a test is of."""
    tanks = [one.id for one in depot.plan.vessels.values() if one.holds_brine]
    known = strength_of(depot, vessel or next(iter(tanks), ""))
    if known is None or known.interval_95 is None:
        return ""
    low, high = (percent(end) for end in known.interval_95)
    return say("test.now_known", percent=percent(known.mass_fraction), low=low, high=high)
