"""Whatever is sent to the page, it answers with a sentence: never a 500, never a traceback."""

from pathlib import Path

import requests
from hypothesis import given, settings
from hypothesis import strategies as st

from pages.page_bench import page_bench
from pages.page_visits import token_in
from services import DEPOT

_ODD = st.text(max_size=40) | st.sampled_from(
    [
        "",
        "1",
        "load",
        "settings",
        "-1",
        "1e309",
        "nan",
        "9" * 400,
        "\x00",
        "<script>",
        "{x}",
        "%",
        "1,178",
        "laid up",
        "24",
    ]
)
_FIELDS = st.sampled_from(
    [
        *("token", "number", "code", "hours", "vessel", "kind", "value", "temperature", "unit"),
        *("amount", "truck", "note", "marks", "what", "verdict", "corrects", "strike", "why"),
        *("back", "start", "cleaned", "sure", "mode", "series", "span", "end", "said"),
    ]
)
_FORM = st.dictionaries(_FIELDS | st.text(max_size=8), _ODD, max_size=8)
_PATH = st.sampled_from(
    [
        *(
            "/",
            "/sign-in",
            "/sign-in/code",
            "/sign-out",
            "/worker.js",
            "/unreached",
            "/unanswered",
            "/away",
            "/assets/",
            "/assets/../x",
        ),
        *(
            f"/d/{DEPOT}{rest}"
            for rest in (
                *("", "/alarms", "/texts", "/watched", "/catalogue", "/trends", "/trends/data"),
                *("/made", "/night", "/reports", "/reports/night", "/reports/x", "/story/12"),
                *("/reports/kept/x", f"/reports/kept/{DEPOT}-week-2026-01-05.html"),
                *("/reports/kept/%2e%2e%2f%00", f"/reports/kept/{DEPOT}-week-0001-01-01.pdf"),
                *("/record", "/record/understood", "/story/999999999999"),
                *("/tests", "/test", "/test/computed", "/mode", "/alarm/12/take"),
                *("/alarm/12/shelve", "/alarm/0/take", "/alarm/99999999999/back", "/alarm/1/no"),
            )
        ),
        *("/d/nowhere", "/d/%2e%2e/x", "/d/", "//"),
    ]
)


def test_no_request_ends_in_an_error_of_ours(tmp_path: Path, monkeypatch) -> None:
    """Every path with any query, form and token, signed in or not."""
    monkeypatch.setattr("brineward.page.doorway.CALLS_AT_ONCE", 1e9)
    monkeypatch.setattr("brineward.page.doorway.CALLS_A_SECOND", 1e9)
    with page_bench(tmp_path) as bench:
        yard = bench.signed_in()
        good = token_in(yard.get(f"{bench.depot}/mode", timeout=10).text)

        @settings(max_examples=250)
        @given(
            _PATH,
            _FORM,
            st.sampled_from(["GET", "POST", "PUT", "HEAD"]),
            st.booleans(),
            st.booleans(),
        )
        def any_request(
            path: str, form: dict[str, str], method: str, inside: bool, own: bool
        ) -> None:
            if path == "/sign-out":
                inside = False
            if own:
                form = {**form, "token": good}
            session = yard if inside else requests.Session()
            more = {"params": form} if method in ("GET", "HEAD") else {"data": form or {"a": ""}}
            answer = session.request(
                method, bench.base + path, timeout=10, allow_redirects=False, **more
            )
            assert answer.status_code < 500, (method, path, form, answer.text[:300])
            assert "Traceback" not in answer.text
            if not inside and not path.startswith(("/sign-in", "/assets")):
                assert answer.status_code in (401, 403, 404, 405, 411), path

        any_request()
