"""Templates made into answers."""

from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse

from brineward.page.words import say

_HERE: Final = Path(__file__).parent
ASSETS: Final = _HERE / "static"

_ENVIRONMENT: Final = Environment(
    loader=FileSystemLoader(_HERE / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_ENVIRONMENT.globals["say"] = say


def drawn(template: str, **values: object) -> str:
    """A template with its values put in, escaped."""
    return _ENVIRONMENT.get_template(f"{template}.html").render(**values)


def answer(template: str, status: int = 200, **values: object) -> HTMLResponse:
    """The same as an answer."""
    return HTMLResponse(drawn(template, **values), status)
