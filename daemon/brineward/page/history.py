"""What has been: loads and batches, a night, an alarm's story, reports."""

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from brineward.page.alarm_words import became, because
from brineward.page.banner import LARGEST_NUMBER
from brineward.page.kept import Kept
from brineward.page.report_policy import report_policy
from brineward.page.screen import clock_time
from brineward.page.visit import Visits, whole_number
from brineward.page.words import say
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, Instant, local_from_instant
from brineward.readings.outputs import AlarmChanged
from brineward.records import Batch, Load, Records
from brineward.records.night import night_of
from brineward.reports.gather import gather
from brineward.reports.page import html
from brineward.reports.period import Period, PeriodKind, period_of
from brineward.wording.operator_units import amount_of_salt, percent
from brineward.wording.segment import segment

_MADE_DAYS: Final = 30
_MADE_SHOWN: Final = 100
_NIGHTS_BACK: Final = 400


class History:
    """Pages of what is over."""

    def __init__(self, visits: Visits, kept: Kept) -> None:
        self._visits, self._lookout, self._kept = visits, visits.lookout, kept
        self._one_report = asyncio.Lock()

    async def made(self, request: Request) -> Response:
        """The loads and batches of the last days, the newest first."""
        visit, now = self._visits.at(request), self._lookout.now()
        plan, since = visit.plan, now - _MADE_DAYS * DAY
        loads, batches = await self._visits.ask(
            lambda records: (
                records.made.loads(plan.id, since),
                records.made.batches(plan.id, since),
            )
        )
        return await self._visits.answer(
            request,
            visit,
            "made",
            days=_MADE_DAYS,
            loads=[_load(plan, one, now) for one in loads[: -_MADE_SHOWN - 1 : -1]],
            batches=[_batch(plan, one, now) for one in batches[: -_MADE_SHOWN - 1 : -1]],
        )

    async def night(self, request: Request) -> Response:
        """The last night's story, or one so many nights before it."""
        visit, now = self._visits.at(request), self._lookout.now()
        plan, back = visit.plan, _back(request)
        tonight = _tonight(plan, now)
        now_on = tonight is not None and "back" not in request.query_params
        period = tonight if tonight and now_on else _period(plan, PeriodKind.NIGHT, now, back)
        told = await self._visits.ask(
            lambda records: night_of(plan, records, period.start, period.end)
        )
        return await self._visits.answer(
            request,
            visit,
            "night",
            title=say("night.so_far") if now_on else period.title,
            sum=told.sum,
            lines=[
                (f"{local_from_instant(one.time, plan.zone):%H:%M}", one.sentence, one.number)
                for one in told.lines
            ],
            earlier=0 if now_on else min(back + 1, _NIGHTS_BACK),
            later=None if now_on else _later(back, tonight),
        )

    async def story(self, request: Request) -> Response:
        """All that is known of one occurrence: its changes, and the texts about it."""
        visit, now = self._visits.at(request), self._lookout.now()
        plan, number = visit.plan, request.path_params["number"]
        if not 0 < number < LARGEST_NUMBER:
            raise HTTPException(404)
        lines = await self._visits.ask(lambda records: _story(plan, records, number, now))
        if not lines:
            raise HTTPException(404)
        return await self._visits.answer(
            request,
            visit,
            "story",
            code=plan.code(number),
            lines=[(clock_time(plan, at, now), said) for at, said in lines],
        )

    async def reports(self, request: Request) -> Response:
        """Which reports there are to open."""
        visit, now = self._visits.at(request), self._lookout.now()
        rows = [
            [
                (kind.value, back, _period(visit.plan, kind, now, back).title)
                for back in range(1 if kind is PeriodKind.SEASON else 4)
            ]
            for kind in PeriodKind
        ]
        kept = await asyncio.to_thread(self._kept.newest, visit.plan)
        return await self._visits.answer(request, visit, "reports", rows=rows, kept=kept)

    async def report(self, request: Request) -> Response:
        """One report, as `brineward report` makes it, drawn now; one at a time."""
        visit, now = self._visits.at(request), self._lookout.now()
        wanted = request.path_params["kind"]
        if wanted not in set(PeriodKind):
            raise HTTPException(404)
        plan, kind = visit.plan, PeriodKind(wanted)
        period = _period(plan, kind, now, 0 if kind is PeriodKind.SEASON else _back(request))
        async with self._one_report:
            drawn = await self._visits.ask(lambda records: html(gather(plan, records, period, now)))
        return HTMLResponse(drawn, headers={"content-security-policy": report_policy(drawn)})


def _back(request: Request) -> int:
    """How many nights, weeks or months before the last."""
    return min(whole_number(request.query_params.get("back", "")), _NIGHTS_BACK)


def _tonight(plan: DepotPlan, now: Instant) -> Period | None:
    """The night that goes on; None by day."""
    tonight = period_of(PeriodKind.NIGHT, now + DAY, plan.zone)
    if tonight.start > now or tonight.end <= now:
        return None
    return replace(tonight, end=now)


def _later(back: int, tonight: Period | None) -> str | None:
    """The query of the night after; None where there is none."""
    if back:
        return f"?back={back - 1}"
    return "" if tonight is not None else None


def _period(plan: DepotPlan, kind: PeriodKind, now: Instant, back: int) -> Period:
    period = period_of(kind, now, plan.zone)
    for _ in range(back):
        # From inside the period that was found, the one before it is the last whole one.
        period = period_of(kind, period.start + DAY // 4, plan.zone)
    return period


def _story(plan: DepotPlan, records: Records, number: int, now: Instant) -> list[tuple[int, str]]:
    changes = records.alarms.story(plan.id, number)
    lines = [(one.time, _change(plan, one, now)) for one in changes]
    for text in records.texts.about(plan.id, number):
        said = say(
            "story.text",
            name=plan.duty.names.get(text.person, text.person),
            became=say(f"texts.{text.state}", why=text.why),
            text=segment(text.notice),
        )
        lines.append((text.created, said))
    return sorted(lines, key=lambda line: line[0])


def _change(plan: DepotPlan, one: AlarmChanged, now: Instant) -> str:
    who = say("story.by", name=plan.name_of(one.by)) if one.by else ""
    until = say("story.until", time=clock_time(plan, one.until, now)) if one.until else ""
    state = say("story.change", state=became(one.state), sentence=one.sentence.rstrip("."))
    why = because(one).rstrip(".")
    why = say("story.why", why=f"{why[:1].upper()}{why[1:]}") if why else ""
    return " ".join(filter(None, (state, who, until, why)))


def _load(plan: DepotPlan, one: Load, now: Instant) -> tuple[str, ...]:
    return (
        f"{one.number}",
        _when(plan, one, now),
        plan.name_of(one.source),
        _volume(plan, one),
        _strength(one),
        "" if one.salt_kg is None else amount_of_salt(one.salt_kg, plan.us_units),
        one.how or "",
    )


def _batch(plan: DepotPlan, one: Batch, now: Instant) -> tuple[str, ...]:
    tested = "" if one.tested is None else f"{percent(one.tested.mass_fraction)} %"
    return (
        f"{one.number}",
        _when(plan, one, now),
        plan.name_of(one.vessel),
        _volume(plan, one),
        _strength(one),
        tested or say("made.untested"),
        ", ".join(_judged(one)),
    )


def _judged(one: Batch) -> Iterator[str]:
    if one.by_hand.accepted is not None:
        yield say("made.accepted" if one.by_hand.accepted else "made.rejected")
    for name, mark in (one.by_hand.settings or {}).items():
        yield f"{name} {mark:g}"


def _when(plan: DepotPlan, one: Load | Batch, now: Instant) -> str:
    began = clock_time(plan, one.began, now)
    if one.ended is None:
        return say("made.going_on", began=began)
    ended = f"{local_from_instant(one.ended, plan.zone):%H:%M}"
    return say("made.from_to", began=began, ended=ended)


def _volume(plan: DepotPlan, one: Load | Batch) -> str:
    if one.volume_m3 is None:
        return say("made.unknown")
    doubt = 2.0 * (one.volume_standard_uncertainty_m3 or 0.0)
    return say(
        "made.volume", volume=plan.units.volume(one.volume_m3), half=plan.units.volume(doubt)
    )


def _strength(one: Load | Batch) -> str:
    if one.mass_fraction is None:
        return say("made.unknown")
    value = percent(one.mass_fraction)
    if one.interval_95 is None:
        return say("tank.strength_point", percent=value)
    low, high = (percent(end) for end in one.interval_95)
    return say("made.strength", percent=value, low=low, high=high)
