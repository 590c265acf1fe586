"""The page's application: its paths, and what stands around them."""

import secrets

from starlette.applications import Starlette
from starlette.routing import Route
from starlette.types import ASGIApp

from brineward.clock import Clock
from brineward.config.settings import PageSettings, Settings
from brineward.page.acting import Acting
from brineward.page.desk import Desk
from brineward.page.doorway import Doorway
from brineward.page.history import History
from brineward.page.kept import Kept
from brineward.page.lookout import Lookout
from brineward.page.people import Access
from brineward.page.reading import Reading
from brineward.page.recording import Recording
from brineward.page.sessions import Sessions, key_beside
from brineward.page.signing_in import SigningIn
from brineward.page.visit import Visits


def page_app(
    settings: Settings,
    page: PageSettings,
    clock: Clock,
    desk: Desk,
    *,
    anyone: bool = False,
    people_clock: Clock | None = None,
) -> ASGIApp:
    """The page of these depots; with `anyone` for whoever calls, to look only. Codes, forms and
    sign-ins last by `people_clock` where the depot's own clock is not people's. Raises: NoKey."""
    # A copy may lie where nothing can be written, and nobody signs in to it.
    key = secrets.token_bytes(32) if anyone else key_beside(settings.journal.path)
    sessions = Sessions(key, people_clock or clock, page.signed_in_seconds)
    access = Access(settings, page, anyone=anyone)
    visits = Visits(Lookout(settings, clock), access, sessions)
    reading = Reading(visits)
    acting, recording = Acting(visits, desk), Recording(visits, desk)
    kept = Kept(visits, None if settings.reports is None else settings.reports.folder)
    history = History(visits, kept)
    inner = Starlette(exception_handlers=visits.handlers)
    doorway = Doorway(
        app=inner,
        settings=page,
        sessions=sessions,
        people=access.people,
        desk=desk,
        clock=clock,
        anyone=anyone,
    )
    signing = SigningIn(visits, desk, doorway.note)
    depot = "/d/{depot}"
    inner.router.routes.extend(
        [
            Route("/", reading.front),
            Route("/sign-in", signing.ask, methods=["GET", "POST"]),
            Route("/sign-in/code", signing.enter, methods=["GET", "POST"]),
            Route("/sign-out", signing.leave, methods=["POST"]),
            Route("/worker.js", reading.worker),
            Route("/unreached", reading.unreached),
            Route("/unanswered", reading.unanswered),
            Route("/away", reading.away),
            Route("/live", reading.live_front),
            Route(depot, reading.now),
            Route(f"{depot}/live", reading.live),
            Route(f"{depot}/banner/live", reading.live_banner),
            Route(f"{depot}/alarms", reading.alarms),
            Route(f"{depot}/texts", reading.texts),
            Route(f"{depot}/watched", reading.watched),
            Route(f"{depot}/catalogue", reading.catalogue),
            Route(f"{depot}/trends", reading.trends),
            Route(f"{depot}/trends/data", reading.trend_data),
            Route(f"{depot}/tests", acting.tests),
            Route(f"{depot}/test/computed", acting.computed),
            Route(f"{depot}/test", acting.test, methods=["POST"]),
            Route(f"{depot}/record", recording.record, methods=["GET", "POST"]),
            Route(f"{depot}/record/understood", recording.understood),
            Route(f"{depot}/made", history.made),
            Route(f"{depot}/night", history.night),
            Route(f"{depot}/story/{{number:int}}", history.story),
            Route(f"{depot}/reports", history.reports),
            Route(f"{depot}/reports/{{kind}}", history.report),
            Route(f"{depot}/reports/kept/{{file}}", kept.report),
            Route(f"{depot}/mode", acting.mode, methods=["GET", "POST"]),
            Route(f"{depot}/alarm/{{number:int}}/{{act}}", acting.alarm, methods=["GET", "POST"]),
            Route("/assets/{name}", reading.asset),
        ]
    )
    return doorway
