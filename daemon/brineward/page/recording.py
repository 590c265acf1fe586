"""Records by hand: a load, a delivery, a batch's acceptance and the like; and putting one right."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from brineward.page.desk import Desk, Done, Understood
from brineward.page.record_form import KINDS, UPKEEP, refusal_of, units_of, words_of
from brineward.page.screen import clock_time
from brineward.page.visit import Visit, Visits, whole_number
from brineward.page.words import say
from brineward.readings.by_hand import Struck
from brineward.records.by_hand import HandEntry
from brineward.wording.by_hand import sentence_of

_SHOWN: Final = 40
_LONGEST_WHY: Final = 200


class Recording:
    """The forms of records, and the newest records."""

    def __init__(self, visits: Visits, desk: Desk) -> None:
        self._visits, self._lookout, self._desk = visits, visits.lookout, desk

    async def record(self, request: Request) -> Response:
        """Typed, shown as it would stand in the list, confirmed, entered."""
        if request.method != "POST":
            visit = self._visits.at(request)
            return await self._page(request, visit, dict(request.query_params), None)
        visit = self._visits.acting_at(request)
        form = await self._visits.form(request)
        corrects, why = whole_number(form.get("corrects", "")), form.get("why", "").strip()
        strikes = bool(corrects) and form.get("strike") == "yes"
        words = "" if strikes else words_of(form)
        if corrects and not why:
            problem = Understood(is_record=False, sentence=say("record.no_why"))
            return await self._page(request, visit, form, problem)
        if not strikes:
            found = self._understood(visit, form)
            if form.get("sure") != "yes" or not found.is_record:
                return await self._page(request, visit, form, found)

        def done() -> Done:
            return self._desk.enter_record(
                visit.plan.id, words, visit.session.person, corrects, why[:_LONGEST_WHY]
            )

        return await self._visits.did(request, visit, form, done, "/record")

    async def understood(self, request: Request) -> Response:
        """What a record says while it is typed."""
        visit = self._visits.at(request)
        found = self._understood(visit, dict(request.query_params))
        lines = {"shows": "", "problems": [], "warnings": []}
        if found.is_record:
            return JSONResponse({**lines, "shows": found.sentence})
        return JSONResponse({**lines, "problems": [found.sentence]})

    def _understood(self, visit: Visit, form: Mapping[str, str]) -> Understood:
        found = self._desk.understood(visit.plan.id, words_of(form))
        if found.is_record:
            return found
        return replace(found, sentence=refusal_of(form, found.fault))

    async def _page(
        self, request: Request, visit: Visit, form: dict[str, str], found: Understood | None
    ) -> Response:
        plan, now = visit.plan, self._lookout.now()
        entries = await self._visits.ask(lambda records: records.by_hand.everything(plan.id))
        corrects = whole_number(form.get("corrects", ""))
        if corrects and corrects not in {one.number for one in entries}:
            raise HTTPException(404)
        rows = [
            (one, clock_time(plan, one.entry.at, now), _sentence(visit, one))
            for one in entries[: -_SHOWN - 1 : -1]
        ]
        kind = form.get("kind", "")
        return await self._visits.answer(
            request,
            visit,
            "record",
            status=422 if found is not None and not found.is_record else 200,
            kinds=KINDS,
            kind=kind if kind in KINDS else "",
            upkeep=UPKEEP,
            volumes=units_of("volume", us=plan.us_units),
            masses=units_of("mass", us=plan.us_units),
            tanks=[(v.id, plan.name_of(v.id)) for v in plan.vessels.values() if v.holds_brine],
            form=form,
            found=found,
            corrects=corrects,
            corrected=next((said for one, _, said in rows if one.number == corrects), ""),
            rows=rows,
        )


def _sentence(visit: Visit, one: HandEntry) -> str:
    record, plan = one.entry.record, visit.plan
    if isinstance(record, Struck):
        return say("record.strikes", number=one.entry.corrects, why=one.entry.why)
    said = sentence_of(record, plan.units)
    parts = [f"{said[:1].upper()}{said[1:]}"]
    if one.entry.corrects:
        parts.append(say("record.instead", number=one.entry.corrects, why=one.entry.why))
    if one.replaced_by:
        parts.append(say("record.replaced", number=one.replaced_by))
    if one.entry.by:
        parts.append(say("record.by", name=plan.name_of(one.entry.by)))
    return " ".join(parts)
