"""Reports that the service has written by itself: which there are, and each as it was written."""

import asyncio
import os
import re
import stat
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from brineward.page.report_policy import report_policy
from brineward.page.visit import Visits
from brineward.page.words import say
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import SECOND
from brineward.reports.period import PeriodKind, between

_FORMS: Final = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
}
_NAME: Final = re.compile(
    r"-(?P<kind>night|week|month|season)-(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})"
    r"\.(?P<form>html|pdf|xlsx|csv)"
)
_INERT: Final = (
    "default-src 'none'; object-src 'self'; form-action 'none'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
"""A print or a table has nothing to run or to fetch; a browser shows a print as an object."""
_MOST_OF_A_KIND: Final = 30
_LARGEST: Final = 30_000_000
_LONGEST_NAME: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReport:
    """A file of the folder that is a depot's report."""

    file: str
    kind: PeriodKind
    day: date
    title: str
    """What the report is of, and in which form where that is not a page."""


class Kept:
    """The folder of `[reports]`; without one there are none."""

    def __init__(self, visits: Visits, folder: Path | None) -> None:
        self._visits, self._folder = visits, folder

    def newest(self, plan: DepotPlan) -> list[list[KeptReport]]:
        """By kind, the newest of each first; empty where the folder can't be read."""
        try:
            names = [] if self._folder is None else [one.name for one in self._folder.iterdir()]
        except OSError:
            return []
        found = [one for name in names if (one := kept_report(plan, name)) is not None]
        found.sort(key=lambda one: (one.day, one.file), reverse=True)
        kinds = ([one for one in found if one.kind is kind] for kind in PeriodKind)
        return [some[:_MOST_OF_A_KIND] for some in kinds if some]

    async def report(self, request: Request) -> Response:
        """One of them, as it was written."""
        plan = self._visits.at(request).plan
        one = kept_report(plan, request.path_params["file"])
        if self._folder is None or one is None:
            raise HTTPException(404)
        body = await asyncio.to_thread(_read, self._folder, one.file)
        form = one.file.rpartition(".")[2]
        shown = "inline" if form in ("html", "pdf") else "attachment"
        headers = {
            "content-security-policy": report_policy(body.decode("utf-8", "replace"))
            if form == "html"
            else _INERT,
            "content-disposition": f'{shown}; filename="{one.file}"',
        }
        return Response(body, headers=headers, media_type=_FORMS[form])


def kept_report(plan: DepotPlan, name: str) -> KeptReport | None:
    """A file's name as the service gives it to a report of this depot; None for every other."""
    if not name.startswith(plan.id) or len(name) > _LONGEST_NAME:
        return None
    found = _NAME.fullmatch(name, len(plan.id))
    if found is None:
        return None
    try:
        day = date.fromisoformat(found["day"])
        start = round(datetime.combine(day, time(12), plan.zone).timestamp() * SECOND)
    except (ValueError, OverflowError):
        return None
    kind = PeriodKind(found["kind"])
    title = between(kind, start, start, plan.zone).title
    if found["form"] != "html":
        title = say("reports.in_form", title=title, form=say(f"reports.form_{found['form']}"))
    return KeptReport(file=name, kind=kind, day=day, title=title)


def _read(folder: Path, name: str) -> bytes:
    """A file of the folder itself: never one that a link leads to, nor a pipe that never ends.

    Raises: HTTPException where there is none to read.
    """
    try:
        inside = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK
            file = os.fdopen(os.open(name, flags, dir_fd=inside), "rb")
        finally:
            os.close(inside)
        with file:
            about = os.fstat(file.fileno())
            if not stat.S_ISREG(about.st_mode) or about.st_size > _LARGEST:
                raise HTTPException(404)
            return file.read(_LARGEST)
    except OSError:
        raise HTTPException(404) from None
