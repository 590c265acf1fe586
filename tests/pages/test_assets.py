"""What a page is drawn with: packed, fetched once; and nothing with a secret in it is packed."""

import gzip
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import requests

from brineward.page.assets import asset
from pages.page_bench import PageBench, page_bench

STATIC = Path(__file__).parents[2] / "daemon" / "brineward" / "page" / "static"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageBench]:
    """A page."""
    with page_bench(tmp_path_factory.mktemp("assets")) as built:
        yield built


def raw(url: str, **headers: str) -> requests.Response:
    """An answer with its bytes as they came over the line."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return requests.get(url, headers={"accept-encoding": "", **named}, timeout=10, stream=True)


@pytest.mark.parametrize("file", sorted(STATIC.iterdir()), ids=lambda file: file.name)
def test_each_is_packed_for_who_can_unpack_it(bench: PageBench, file: Path) -> None:
    """The same bytes come out either way, under one type, for a year under its marked name."""
    url = bench.base + asset(file.name)
    plain, packed = raw(url), raw(url, accept_encoding="br, gzip")
    assert plain.raw.read() == file.read_bytes()
    assert "content-encoding" not in plain.headers
    assert packed.headers["content-encoding"] == "gzip"
    assert gzip.decompress(packed.raw.read()) == file.read_bytes()
    for answer in (plain, packed):
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
        assert answer.headers["vary"] == "accept-encoding"
        assert answer.headers["content-type"] == plain.headers["content-type"]


def test_a_mark_that_is_no_files_is_no_page(bench: PageBench) -> None:
    """An old page's style sheet is not answered by a new one under the old name for a year; its
    plain name is asked for again each time, and costs nothing where it is the same."""
    assert raw(f"{bench.base}/assets/page.0123456789.css").status_code == 404
    assert raw(f"{bench.base}/assets/..%2fapp.py").status_code == 404
    plain = raw(f"{bench.base}/assets/page.css")
    assert plain.headers["cache-control"] == "no-cache"
    again = raw(f"{bench.base}/assets/page.css", if_none_match=plain.headers["etag"])
    assert (again.status_code, again.raw.read()) == (304, b"")
    other = raw(f"{bench.base}/assets/page.css", if_none_match='"page.0123456789.css"')
    assert other.status_code == 200


def test_no_page_with_a_form_in_it_is_packed(bench: PageBench) -> None:
    """Its length would tell of the form's token; it is kept by nobody; its style is named ahead."""
    yard = bench.signed_in()
    for path in ("/", f"{bench.depot[len(bench.base) :]}/mode", "/sign-in"):
        answer = yard.get(bench.base + path, headers={"accept-encoding": "gzip, br"}, timeout=10)
        assert answer.status_code == 200
        assert "content-encoding" not in answer.headers
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["link"] == f"<{asset('page.css')}>; rel=preload; as=style"


def test_the_only_depot_is_at_the_front_without_a_detour(bench: PageBench) -> None:
    """One answer, one way there and back: over a slow line a redirect is a fifth of a second."""
    yard = bench.signed_in()
    answer = yard.get(bench.base, allow_redirects=False, timeout=10)
    assert answer.status_code == 200
    assert "Take TH12" in answer.text
    assert answer.headers["content-location"] == bench.depot[len(bench.base) :]


def test_the_first_load_stays_light(bench: PageBench) -> None:
    """The first screen with all that it fetches takes 60 kB at most, trends 150 kB."""
    yard = bench.signed_in()
    for path, most in (("/", 60_000), ("/d/tern-hollow/trends?series=main-level", 150_000)):
        page = yard.get(bench.base + path, timeout=10)
        needed = set(re.findall(r'(?:href|src)="(/assets/[^"]+)"', page.text))
        assert len(needed) >= 4
        weight = len(page.content)
        for one in needed:
            weight += int(yard.get(bench.base + one, timeout=10).headers["content-length"])
        assert weight < most
