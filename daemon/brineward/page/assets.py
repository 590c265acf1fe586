"""What every page is drawn with: small, named by what is in it, and so fetched once by a phone.

A name with its mark (`page.1f0c2a9b4d.css`) never changes what it means, so it is kept for a year
and asked for no more; the plain name is asked for again each time.
"""

import gzip
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

OPEN_FOLDER: Final = "/assets/"
_TYPES: Final = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".txt": "text/plain; charset=utf-8",
    ".webmanifest": "application/manifest+json",
}
_FOR_A_YEAR: Final = "public, max-age=31536000, immutable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asset:
    """A file that holds nothing of anybody, so it may be packed: a page with a form's token in it
    never is, since its length would tell of the token (BREACH, CVE-2013-3587)."""

    body: bytes
    packed: bytes
    """The same by gzip."""
    media_type: str
    marked: str
    """Its name with its mark."""


def _read(file: Path) -> Asset:
    body = file.read_bytes()
    mark = hashlib.sha256(body).hexdigest()[:10]
    return Asset(
        body=body,
        packed=gzip.compress(body, 9, mtime=0),
        media_type=_TYPES[file.suffix],
        marked=f"{file.stem}.{mark}{file.suffix}",
    )


_ASSETS: Final = {
    file.name: _read(file) for file in sorted((Path(__file__).parent / "static").iterdir())
}
_BY_MARK: Final = {one.marked: one for one in _ASSETS.values()}


def asset(name: str) -> str:
    """The address of a file of `static`, with its mark. Raises: KeyError where there is none."""
    return OPEN_FOLDER + _ASSETS[name].marked


def asset_answer(request: Request, name: str) -> Response:
    """A file of `static` by its plain or its marked name, packed for a browser that says that it
    can unpack. Raises: HTTPException where there is none of that name."""
    one = _BY_MARK.get(name) or _ASSETS.get(name)
    if one is None:
        raise HTTPException(404)
    tag = f'"{one.marked}"'
    headers = {
        "cache-control": _FOR_A_YEAR if name in _BY_MARK else "no-cache",
        "etag": tag,
        "vary": "accept-encoding",
    }
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    if "gzip" not in request.headers.get("accept-encoding", "").lower():
        return Response(one.body, headers=headers, media_type=one.media_type)
    headers["content-encoding"] = "gzip"
    return Response(one.packed, headers=headers, media_type=one.media_type)
