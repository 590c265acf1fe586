"""What a browser may do with a report: use the style that it holds, and nothing else."""

import base64
import hashlib
import re
from typing import Final

_STYLE: Final = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_POLICY: Final = (
    "default-src 'none'; style-src 'sha256-{hash}'; img-src data:; sandbox allow-same-origin; "
    "form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)


def report_policy(html: str) -> str:
    """The Content-Security-Policy of a report on one page."""
    style = _STYLE.search(html)
    digest = hashlib.sha256((style[1] if style else "").encode()).digest()
    return _POLICY.format(hash=base64.b64encode(digest).decode())
