"""What is live: one look a second for everybody who has a depot's page open, sent when it changes.

Nobody waits for a slow reader: each one is sent the newest picture when it has taken the last.
"""

import asyncio
import json
from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass
from typing import Final

from brineward.page.lookout import NoLook

LOOK_SECONDS: Final = 1.0
BEAT_SECONDS: Final = 4.0
"""A page that has heard nothing for three of these is marked old by itself."""
MOST_OPEN: Final = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A screen as it is sent."""

    key: str
    """What is shown, but for its time: it is sent again only when this changes."""
    html: str
    clock: str
    time: int


class Live:
    """Watches one depot while anybody looks. All of it runs in the server's one loop."""

    def __init__(self, draw: Callable[[], Picture]) -> None:
        self._draw = draw
        self._newest: Picture | None = None
        self._task: asyncio.Task[None] | None = None
        self._changed = asyncio.Condition()
        self.open = 0

    async def events(self) -> AsyncGenerator[str, None]:
        """Events for one page, without end."""
        self.open += 1
        try:
            if self._task is None or self._task.done():
                self._task = asyncio.get_running_loop().create_task(self._look())
            shown: str | None = None
            while True:
                picture = self._newest
                if picture is not None:
                    changed = picture.key != shown
                    shown = picture.key
                    yield _event(picture, whole=changed)
                await self._wait(picture)
        finally:
            self.open -= 1
            if not self.open and self._task is not None:
                self._task.cancel()
                self._task, self._newest = None, None

    async def _wait(self, seen: Picture | None) -> None:
        """Until the picture shows something else, or it is time for a sign of life."""
        seen_key = None if seen is None else seen.key

        def other() -> bool:
            return self._newest is not None and self._newest.key != seen_key

        async def wait() -> None:
            async with self._changed:
                await self._changed.wait_for(other)

        try:
            await asyncio.wait_for(wait(), BEAT_SECONDS)
        except TimeoutError:
            return

    async def _look(self) -> None:
        while True:
            try:
                picture = await asyncio.to_thread(self._draw)
            except NoLook:
                # Nothing is sent, so every page marks itself old.
                self._newest = None
            else:
                async with self._changed:
                    self._newest = picture
                    self._changed.notify_all()
            await asyncio.sleep(LOOK_SECONDS)


def _event(picture: Picture, *, whole: bool) -> str:
    said: dict[str, object] = {"clock": picture.clock, "time": picture.time}
    if whole:
        said["html"] = picture.html
    return f"data: {json.dumps(said)}\n\n"
