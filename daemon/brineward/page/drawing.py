"""Templates made into answers."""

from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse

from brineward.page.assets import asset
from brineward.page.words import say

_HERE: Final = Path(__file__).parent

_ENVIRONMENT: Final = Environment(
    loader=FileSystemLoader(_HERE / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_ENVIRONMENT.globals |= {"say": say, "asset": asset}
_STYLE_AHEAD: Final = {"link": f"<{asset('page.css')}>; rel=preload; as=style"}
"""Said before the page itself: over a slow line the style is on its way sooner."""


def drawn(template: str, **values: object) -> str:
    """A template with its values put in, escaped."""
    return _ENVIRONMENT.get_template(f"{template}.html").render(**values)


def answer(template: str, status: int = 200, **values: object) -> HTMLResponse:
    """The same as an answer."""
    return HTMLResponse(drawn(template, **values), status, _STYLE_AHEAD)
